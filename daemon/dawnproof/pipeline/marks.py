"""Marks that recur: what stands at the same place of a bed in two jobs running is the scanner's, not the artwork's.

Places are compared on the bed, so a scan whose place on it nobody knows says nothing here. Every sheet has specks of
its own, and among many some will lie alike by chance: the more marks the scans show, the more jobs must agree.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from ..ledger.ledger import Ledger
from ..model import MM_PER_INCH, Bed, Mark, Place, RecurringMark, Role, ScanRow

FULL_SIZE_MM = 3.0  # a scan this much smaller than the bed still shows all of it
NEAR_MM = {"streak": 0.3, "spot": 0.5, "soft": 8.0}  # the carriage comes back to a tenth of a millimetre
JOBS_BETWEEN = 1  # that may hide a mark: dark there, or rough
CROWDED = 15  # marks of one kind beyond which two scans agree somewhere by chance
TIMES_AS_LARGE = 3.0
LAST_SCANS = 48


@dataclass(frozen=True, slots=True)
class _Seen:
    """A mark at its place on the bed, and which of the bed's jobs showed it, counted in the order they came."""

    mark: Mark
    job: str
    turn: int
    crowded: bool


def recurring_scans(ledger: Ledger, scans: Sequence[ScanRow], beds: Sequence[Bed]) -> frozenset[int]:
    """Numbers of those scans whose strongest streak stands at the same place of the bed in a scan of another job."""
    others = ledger.last_scans(LAST_SCANS, Place.INBOX, Place.ARCHIVE, Place.REWORK)
    found = set()
    for row in scans:
        mine = _streaks(row, beds)[:1]
        theirs = [m for o in others if _job(o) != _job(row) and o.bed == row.bed for m in _streaks(o, beds)]
        if any(alike(one, other) for one in mine for other in theirs):
            found.add(row.id)
    return frozenset(found)


def recurring_marks(rows: Iterable[ScanRow], beds: Sequence[Bed]) -> tuple[RecurringMark, ...]:
    """Marks that jobs of one bed share, strongest evidence first; places in mm from the bed's corner. `rows`: in the
    order they came."""
    by_bed: dict[str, list[ScanRow]] = defaultdict(list)
    for row in rows:
        if row.measured is not None and row.name is not None and row.name.role is Role.WORK:
            by_bed[row.bed].append(row)
    found = [mark for bed, scans in by_bed.items() for mark in _of_bed(bed, scans, beds)]
    return tuple(sorted(found, key=lambda m: (-len(m.jobs), m.bed, m.x_mm)))


def on_bed(row: ScanRow, beds: Sequence[Bed]) -> tuple[Mark, ...]:
    """The scan's marks with their places on the bed; none where its place is not known. A streak needs no place along
    the travel."""
    measured, bed = row.measured, next((b for b in beds if b.name == row.bed), None)
    if measured is None or bed is None or not measured.ppi_x:
        return ()
    width_mm = measured.width_px * MM_PER_INCH / measured.ppi_x
    length_mm = measured.height_px * MM_PER_INCH / (measured.ppi_y or measured.ppi_x)
    left_mm = measured.x_position_mm
    if left_mm is None and abs(width_mm - bed.width_mm) <= FULL_SIZE_MM:
        left_mm = 0.0
    if left_mm is None:
        return ()
    whole = abs(length_mm - bed.length_mm) <= FULL_SIZE_MM
    return tuple(replace(m, x_mm=m.x_mm + left_mm) for m in measured.marks if m.kind == "streak" or whole)


def alike(one: Mark, other: Mark) -> bool:
    """Whether two marks may be the same thing: same kind, place and sign, no great difference in size."""
    if one.kind != other.kind or one.strength * other.strength < 0:
        return False
    reach = NEAR_MM.get(one.kind, 0.5)
    if abs(one.x_mm - other.x_mm) > reach or abs((one.y_mm or 0.0) - (other.y_mm or 0.0)) > reach:
        return False
    small, large = sorted((max(one.size_mm, 0.05), max(other.size_mm, 0.05)))
    return one.kind != "spot" or large <= TIMES_AS_LARGE * small


def _of_bed(bed: str, scans: Sequence[ScanRow], beds: Sequence[Bed]) -> list[RecurringMark]:
    turns: dict[str, int] = {}
    seen: list[_Seen] = []
    for row in scans:
        turn = turns.setdefault(_job(row), len(turns))
        marks = on_bed(row, beds)
        counts = {kind: sum(m.kind == kind for m in marks) for kind in NEAR_MM}
        # zones of softness are few and large: two sheets that curl at the same corner share one by chance
        seen += [_Seen(m, _job(row), turn, m.kind == "soft" or counts.get(m.kind, 0) > CROWDED) for m in marks]
    return [_told(bed, group) for group in _groups(seen) if _agree(group)]


def _groups(seen: list[_Seen]) -> list[list[_Seen]]:
    groups: list[list[_Seen]] = []
    for one in sorted(seen, key=lambda s: (s.mark.kind, s.mark.x_mm, s.turn)):
        fits = next((g for g in groups if all(alike(other.mark, one.mark) for other in g)), None)
        if fits is None:
            groups.append([one])
        else:
            fits.append(one)
    return groups


def _agree(group: Sequence[_Seen]) -> bool:
    """Two jobs that came one after the other, or with one between them; three where marks are many."""
    turns = sorted({one.turn for one in group})
    close = [b - a <= 1 + JOBS_BETWEEN for a, b in pairwise(turns)]
    needed = 2 if any(one.crowded for one in group) else 1
    return sum(close) >= needed


def _told(bed: str, group: Sequence[_Seen]) -> RecurringMark:
    x_mm = sum(one.mark.x_mm for one in group) / len(group)
    has_y = group[0].mark.y_mm is not None
    y_mm = sum(one.mark.y_mm or 0.0 for one in group) / len(group) if has_y else None
    jobs = tuple(sorted({one.job for one in group}))
    return RecurringMark(bed, group[0].mark.kind, round(x_mm, 1), None if y_mm is None else round(y_mm, 1), jobs)


def _streaks(row: ScanRow, beds: Sequence[Bed]) -> list[Mark]:
    return [mark for mark in on_bed(row, beds) if mark.kind == "streak"]


def _job(row: ScanRow) -> str:
    return row.name.job if row.name else ""
