"""What a scan of the white reference says of its bed: is the light even, and is it what it was?

Such findings are the bed's, never a job's. The ledger keeps every reference with its readings; that is the trend.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta

from ..model import Finding, Reading, Role, ScanRow
from ..policy import Context, judge_scan
from ..rulebook import RuleBook

SPOKEN_OF = {"light", "streaks"}  # of a reference's readings: it has no outline, no detail, no seam to judge
DAY_BEGINS_H = 5  # o'clock
TOGETHER = timedelta(minutes=5)  # a large scan that is measured at the same time takes so long


def reference_findings(row: ScanRow, earlier: Iterable[ScanRow], book: RuleBook) -> tuple[Finding, ...]:
    """Findings of a reference scan; nothing for any other. `earlier`: scans in the order they came."""
    if not is_reference(row) or row.measured is None:
        return ()
    readings = [r for r in row.measured.readings if r.check in SPOKEN_OF]
    before = last_reference(row, earlier)
    if before is not None:
        readings += light_change(row, before)
    context = Context(Role.REF, None, row.measured.width_px, row.measured.height_px, row.measured.ppi_x)
    return judge_scan(readings, book, context)


def is_reference(row: ScanRow) -> bool:
    return row.name is not None and row.name.role is Role.REF and not row.reason


def last_reference(row: ScanRow, earlier: Iterable[ScanRow]) -> ScanRow | None:
    """The newest reference of the same bed that told a level, the scan itself left out."""
    same = [s for s in earlier if is_reference(s) and s.bed == row.bed and s.sha256 != row.sha256 and _levels(s)]
    return same[-1] if same else None


def light_change(row: ScanRow, before: ScanRow) -> list[Reading]:
    """Reading `light.change`: % by which the level of the channel that changed most has moved, signed."""
    now, then = _levels(row), _levels(before)
    moved = {name: (now[name] / then[name] - 1) * 100 for name in now if then.get(name, 0.0) > 0}
    if not moved:
        return []
    name = max(moved, key=lambda channel: abs(moved[channel]))
    why = f"{name.removeprefix('level_')}, since the reference of {before.admitted_utc[:10]}"
    return [Reading("light", "change", round(moved[name], 2), "%", sure=0.95, why=why)]


def beds_without_reference(scans: Sequence[ScanRow]) -> tuple[str, ...]:
    """Beds whose first work of its day came before any reference of that day: the newest such day counts.

    `scans`: works and references in the order they were entered. A file is entered when it has been measured, and
    several are measured at once: a reference that was entered within `TOGETHER` of the work came with it.
    """
    first: dict[str, ScanRow] = {}
    told: set[str] = set()
    for row in scans:
        if row.name is None or row.reason:
            continue
        if row.name.role is Role.WORK and (row.bed not in first or _day(row) != _day(first[row.bed])):
            first[row.bed] = row
            (told.discard if _referenced(row, scans) else told.add)(row.bed)
    return tuple(bed for bed in first if bed in told)


def _referenced(work: ScanRow, scans: Sequence[ScanRow]) -> bool:
    return any(
        is_reference(row) and row.bed == work.bed and _day(row) == _day(work) and _before(row, work) for row in scans
    )


def _before(reference: ScanRow, work: ScanRow) -> bool:
    came, laid = (datetime.fromisoformat(row.admitted_utc) for row in (reference, work))
    return came <= laid + TOGETHER


def _day(row: ScanRow) -> str:
    """The studio's own day, which ends where its night does: work after midnight belongs to the day before."""
    return (datetime.fromisoformat(row.admitted_utc).astimezone() - timedelta(hours=DAY_BEGINS_H)).date().isoformat()


def _levels(row: ScanRow) -> Mapping[str, float]:
    if row.measured is None:
        return {}
    return {
        r.name: r.value
        for r in row.measured.readings
        if r.check == "light" and r.name.startswith("level_") and isinstance(r.value, float)
    }
