"""From a file in the inbox to a scan in the ledger, or to the place for what no rule understands."""

from __future__ import annotations

import os
from collections import ChainMap
from dataclasses import dataclass, replace
from pathlib import Path

from ..errors import NotAScan, ScanError
from ..ledger.ledger import Ledger
from ..measure.likeness import same_picture
from ..model import (
    Bed,
    EventRow,
    Filing,
    FilingStep,
    Finding,
    Level,
    ListedJob,
    Measured,
    PartName,
    Place,
    Role,
    ScanRow,
    StepKind,
    shown,
)
from ..naming import NamingRule, NotNamed, outer_sides, read_name
from ..policy import make_finding
from ..rulebook import RuleBook
from ..storage.free_names import free_name
from ..storage.moves import make_folder
from ..storage.studio import Studio
from ..workers.asks import Ask
from .references import is_reference, reference_findings
from .roots import Roots
from .thumbs import thumb_mm, thumb_of

MOST_LOOKED_BACK = 200  # references, targets and shims among which the bed's last reference is looked for
REFERENCES = {Role.REF, Role.TARGET, Role.SHIM}
REMEMBERED = {Place.INBOX, Place.ARCHIVE, Place.REWORK, Place.CLOSED, Place.UNPLACED, Place.REFERENCE, Place.TRIALS}


@dataclass(frozen=True, slots=True)
class Arrived:
    """A whole file of the inbox with what its name says."""

    path: Path
    bed: Bed
    name: PartName | NotNamed


def arrived(studio: Studio, ledger: Ledger, rule: NamingRule, path: Path, bed_folder: str | None,
            listed: dict[str, ListedJob]) -> Arrived:  # fmt: skip
    """Which bed a file comes from and which part its name claims."""
    known = ChainMap(ledger.spellings(), {key: job.job for key, job in listed.items()})
    name = read_name(path.name, rule, known)
    bed = bed_folder or (name.bed if isinstance(name, PartName) and name.bed else None)
    names = {b.name.casefold() for b in studio.book.beds}
    return Arrived(path, studio.book.bed(bed if bed and bed.casefold() in names else None), name)


def ask_for(arrived_file: Arrived, book: RuleBook, listed: ListedJob | None) -> Ask:
    """What the measuring child is told of a file."""
    name = arrived_file.name
    if isinstance(name, NotNamed):
        return Ask(str(arrived_file.path), arrived_file.bed, border_mm=book.crop.border_mm)
    return Ask(
        str(arrived_file.path), arrived_file.bed, outer_sides(name.part), name.role,
        listed.width_mm if listed else None, listed.height_mm if listed else None, book.relief, book.crop.border_mm,
    )  # fmt: skip


def admit(studio: Studio, ledger: Ledger, file: Arrived, measured: Measured | None, error: ScanError | None,
          sha256: str, now_utc: str) -> ScanRow:  # fmt: skip
    """Enter a file in the ledger where it is. A file that has no place gets its reason; it is moved by the filing
    that `place_elsewhere` plans."""
    size = measured.size_bytes if measured else file.path.stat().st_size
    name = file.name if isinstance(file.name, PartName) else None
    reason = "" if error is None and name is not None else _why_unplaced(file.name, error)
    twin = _same_bytes(ledger, sha256, file.path)
    if twin is not None:
        reason = f"same bytes as {twin.file} ({twin.home}); the scan is held already, this copy was set aside"
    findings: tuple[Finding, ...] = ()
    if name is not None and not reason:
        name, findings = _its_take(ledger, name, measured, sha256)
    row = ScanRow(0, sha256, size, shown(file.path.name), name, file.bed.name, Place.INBOX, str(file.path), now_utc,
                  reason, measured, findings)  # fmt: skip
    if is_reference(row):
        earlier = ledger.last_scans(MOST_LOOKED_BACK, Place.REFERENCE)
        row = replace(row, findings=reference_findings(row, earlier, studio.book))
    return replace(row, id=ledger.add_scan(os.fsencode(file.path.name), row))


def admitted_already(ledger: Ledger, path: Path, sha256: str) -> ScanRow | None:
    """The scan that waits at this very path with these bytes, e.g. after a restart."""
    row = ledger.scan_at_home(path)
    return row if row is not None and row.sha256 == sha256 and row.place is Place.INBOX else None


def belongs_elsewhere(row: ScanRow) -> bool:
    """Whether a scan is no part of a job: set aside, a trial, a reference."""
    return bool(row.reason) or (row.name is not None and (row.name.role is Role.TRIAL or row.name.role in REFERENCES))


def place_elsewhere(studio: Studio, row: ScanRow, roots: Roots) -> Filing | None:
    """The filing of a scan that belongs to no job's parts: unplaced, a trial, a reference. None for all others."""
    if row.reason:
        return _one_move(row, studio.unplaced, Place.UNPLACED, roots)
    if row.name is None:
        return None
    if row.name.role is Role.TRIAL:
        return _one_move(row, studio.trials, Place.TRIALS, roots)
    if row.name.role in REFERENCES:
        return _one_move(row, studio.reference / row.bed, Place.REFERENCE, roots)
    return None


def _one_move(row: ScanRow, folder: Path, place: Place, roots: Roots) -> Filing:
    roots.check(folder)
    make_folder(folder)
    target = folder / free_name(folder, Path(row.home).name, {"REASONS.txt"})
    steps = (
        FilingStep(StepKind.MAKE_FOLDER, target=str(folder)),
        FilingStep(StepKind.MOVE_SCAN, row.home, str(target), row.id, row.sha256, place),
    )
    return Filing("", steps)


def _same_bytes(ledger: Ledger, sha256: str, path: Path) -> ScanRow | None:
    for row in ledger.scans_with(sha256):
        if row.place in REMEMBERED and row.home != str(path) and not row.reason.startswith("same bytes"):
            return row
    return None


def _why_unplaced(name: PartName | NotNamed, error: ScanError | None) -> str:
    parts = []
    if isinstance(name, NotNamed):
        parts.append(name.why + (f"; did you mean {name.proposal}?" if name.proposal else ""))
    if error is not None:
        kind = "it cannot be measured" if isinstance(error, NotAScan) else "it is damaged or not whole"
        parts.append(f"{kind}: {error}")
    return "; ".join(parts)


def _its_take(ledger: Ledger, name: PartName, measured: Measured | None,
              sha256: str) -> tuple[PartName, tuple[Finding, ...]]:  # fmt: skip
    """The same part and take again is the next take once the job has an outcome; a newer take that shows another
    picture than the one before it is said at once."""
    before = [
        r for r in ledger.scans_of(name.job)
        if r.name and (r.name.part, r.name.light) == (name.part, name.light)
        and r.place in {Place.INBOX, Place.ARCHIVE, Place.REWORK}
    ]  # fmt: skip
    held = [r for r in before if r.place is not Place.INBOX]
    if any(r.name and r.name.take >= name.take for r in held):
        name = replace(name, take=max(r.name.take for r in before if r.name) + 1)
    older = [r for r in before if r.name and r.name.take < name.take and r.measured]
    if not older or measured is None:
        return name, ()
    last = max(older, key=lambda r: r.name.take if r.name else 0)
    if last.measured is None or not is_other_picture(last.measured, measured):
        return name, ()
    earlier = last.name.take if last.name else 1
    text = (f"take {name.take} of part {name.part} shows another picture than take {earlier} "
            f"({last.file}); both are kept, the newer one replaces nothing")  # fmt: skip
    return name, (make_finding("job", "other_picture", Level.FAULT, text),)


def is_other_picture(one: Measured, other: Measured) -> bool:
    """Whether two scans certainly show different works."""
    likeness = same_picture(thumb_of(one), thumb_of(other), thumb_mm(other) / thumb_mm(one))
    return likeness.certain and not likeness.same


def said_event(row: ScanRow, now_utc: str) -> EventRow:
    """The line of the night for an admitted scan."""
    job = row.name.job if row.name else ""
    if row.reason:
        return EventRow(now_utc, "set aside", job, f"{row.file}: {row.reason}")
    part = (
        f"{row.name.part}" + (f", take {row.name.take}" if row.name and row.name.take > 1 else "") if row.name else ""
    )
    return EventRow(now_utc, "measured", job, f"{row.file}: {part} measured")
