"""REASONS.txt: for every file that has no place, why, and what would give it one. Made anew from the ledger."""

from __future__ import annotations

from ..ledger.ledger import Ledger
from ..model import Place
from ..storage.moves import make_folder, write_beside
from ..storage.studio import Studio

HEAD = (
    "Files that were set aside or left where they are, and why.\n"
    "To give one its place: dawnproof place STUDIO FILE --as NAME\n"
)


def write_reasons(studio: Studio, ledger: Ledger) -> None:
    """Write rework/_unplaced/REASONS.txt from what the ledger knows."""
    lines = [HEAD]
    lines += [f"{row.home.rsplit('/', 1)[-1]}\n    {row.reason}\n    (arrived as {row.file}, {row.admitted_utc[:19]} UTC)\n"
              for row in ledger.scans_at(Place.UNPLACED)]  # fmt: skip
    staying = [row for row in ledger.staying() if row.kind != "left alone"]
    if staying:
        lines.append("These stay where they are:\n")
        lines += [f"{row.file}\n    {row.reason}\n" for row in staying]
    make_folder(studio.unplaced)
    text = "\n".join(lines)
    safe = text.encode("utf-8", "backslashreplace")
    write_beside(studio.unplaced / "REASONS.txt", safe, replace=True)
