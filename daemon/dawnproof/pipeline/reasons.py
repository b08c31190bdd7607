"""REASONS.txt: for every file that has no place, why, and what would give it one. Made anew from the ledger."""

from __future__ import annotations

from pathlib import Path

from ..ledger.ledger import Ledger
from ..model import shown
from ..storage.moves import make_folder, write_beside
from ..storage.studio import Studio

HEAD = (
    "Files that were set aside or left where they are, and why.\n"
    "To give one its place: dawnproof place STUDIO FILE --as NAME\n"
)


def write_reasons(studio: Studio, ledger: Ledger) -> None:
    """Write rework/_unplaced/REASONS.txt from what the ledger knows, where it does not say so already."""
    lines = [HEAD]
    lines += [f"{shown(Path(row.home).name)}\n    {shown(row.reason)}\n    (arrived as {row.file}, "
              f"{row.admitted_utc[:19]} UTC)\n" for row in ledger.reasons()]  # fmt: skip
    staying = [row for row in ledger.staying() if row.kind != "left alone"]
    if staying:
        lines.append("These stay where they are:\n")
        lines += [f"{row.file}\n    {shown(row.reason)}\n" for row in staying]
    target = studio.unplaced / "REASONS.txt"
    if len(lines) == 1 and not target.exists():
        return
    safe = "\n".join(lines).encode("utf-8", "backslashreplace")
    if _as_it_stands(target) != safe:
        make_folder(studio.unplaced)
        write_beside(target, safe, replace=True)


def _as_it_stands(target: Path) -> bytes | None:
    try:
        return target.read_bytes()
    except OSError:
        return None
