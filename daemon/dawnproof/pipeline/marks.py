"""Marks that recur: what stands at the same place of a bed in two jobs running is the scanner's, not the artwork's."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from ..ledger.ledger import Ledger
from ..model import Mark, Place, RecurringMark, Role, ScanRow

NEAR_MM = 0.6  # a streak wanders less than this between two scans; a spot may be placed a little less exactly
SPOT_NEAR_MM = 1.5
LAST_SCANS = 12


def recurring_scans(ledger: Ledger, scans: Sequence[ScanRow]) -> frozenset[int]:
    """Numbers of those scans whose streaks stand at the same place of the bed in a scan of another job."""
    others = ledger.last_scans(4 * LAST_SCANS, Place.INBOX, Place.ARCHIVE, Place.REWORK)
    found = set()
    for row in scans:
        theirs = [m for o in others if _job(o) != _job(row) and o.bed == row.bed for m in streaks(o)]
        if any(near(mine, other) for mine in streaks(row) for other in theirs):
            found.add(row.id)
    return frozenset(found)


def recurring_marks(rows: Iterable[ScanRow]) -> tuple[RecurringMark, ...]:
    """Marks that two jobs or more of one bed share, strongest evidence first."""
    by_bed: dict[str, list[tuple[Mark, str]]] = defaultdict(list)
    for row in rows:
        if row.measured is not None and row.name is not None and row.name.role is Role.WORK and _full_width(row):
            by_bed[row.bed] += [(mark, row.name.job) for mark in row.measured.marks]
    found = []
    for bed, marks in by_bed.items():
        for group in _groups(marks):
            jobs = tuple(sorted({job for _, job in group}))
            if len(jobs) > 1:
                first = group[0][0]
                x_mm = sum(m.x_mm for m, _ in group) / len(group)
                y_mm = None if first.y_mm is None else sum(m.y_mm or 0.0 for m, _ in group) / len(group)
                found.append(
                    RecurringMark(bed, first.kind, round(x_mm, 1), None if y_mm is None else round(y_mm, 1), jobs)
                )
    return tuple(sorted(found, key=lambda m: (-len(m.jobs), m.bed, m.x_mm)))


def streaks(row: ScanRow) -> list[Mark]:
    """The streaks of one scan."""
    return [m for m in row.measured.marks if m.kind == "streak"] if row.measured and _full_width(row) else []


def near(one: Mark, other: Mark) -> bool:
    """Whether two marks of one kind stand at the same place."""
    if one.kind != other.kind:
        return False
    reach = NEAR_MM if one.kind == "streak" else SPOT_NEAR_MM
    if abs(one.x_mm - other.x_mm) > reach:
        return False
    return one.y_mm is None or other.y_mm is None or abs(one.y_mm - other.y_mm) <= reach


def _groups(marks: list[tuple[Mark, str]]) -> list[list[tuple[Mark, str]]]:
    groups: list[list[tuple[Mark, str]]] = []
    for mark in sorted(marks, key=lambda m: (m[0].kind, m[0].x_mm)):
        fits = next((g for g in groups if near(g[-1][0], mark[0])), None)
        if fits is None:
            groups.append([mark])
        else:
            fits.append(mark)
    return groups


def _full_width(row: ScanRow) -> bool:
    """Scans narrower than the bed do not say where on it they lay; their marks cannot be compared by place."""
    return row.measured is not None and row.measured.width_px > 0


def _job(row: ScanRow) -> str:
    return row.name.job if row.name else ""
