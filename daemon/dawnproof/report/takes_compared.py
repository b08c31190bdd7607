"""First take and new take side by side: the readings that changed when a part was scanned again."""

from __future__ import annotations

from dataclasses import dataclass

from ..jobs import standing
from ..model import Finding, JobView, Level, Place, Reading, Role, ScanRow, shown
from .account import Said, faults, used_scans, work_words
from .drawing import work_mm
from .figures import clock
from .in_brief import in_brief


@dataclass(frozen=True, slots=True)
class Change:
    """One reading of two takes of a part that is not judged the same any more, or is a fault still."""

    check: str
    name: str
    before: str
    after: str
    better: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two takes of one part, the superseded one and the one that counts."""

    part: str
    before: ScanRow
    after: ScanRow
    changes: tuple[Change, ...]

    @property
    def words(self) -> str:
        """'part R, take 2 for take 1: doubling 6 px at 210 mm before, sound, 0.4 px now'."""
        takes = f"take {_take(self.after)} for take {_take(self.before)}"
        told = "; ".join(f"{c.before} before, {c.after} now" for c in self.changes) or "judged alike"
        return f"{Said(_ANY, self.after).part_words.partition(', take')[0]}, {takes}: {told}"


def comparisons(view: JobView) -> tuple[Comparison, ...]:
    """Every part of the work that has an earlier take: the newest of those against the one that counts."""
    found = []
    for scan in used_scans(view):
        if scan.name is None or scan.name.role is not Role.WORK:
            continue
        earlier = [s for s in _earlier(view) if _same(s, scan) and s.measured]
        if earlier and scan.measured:
            before = max(earlier, key=lambda s: (_take(s), s.admitted_utc, s.id))
            found.append(Comparison(shown(scan.name.part), before, scan, _changes(before, scan)))
    return tuple(found)


def two_pictures(view: JobView, offset_s: int) -> tuple[str, ...]:
    """Where two takes show different works: what the job list says of the work, and each take with its file, time and
    measured size, so that a person can tell the stranger. Nothing for other jobs."""
    if not any(one.finding.name == "other_picture" for one in faults(view)):
        return ()
    listed = work_words(view)
    lines = [f"The job list says: {listed}" if listed else "The job list says nothing of this number"]
    for scan in view.scans:
        if scan.name and scan.measured and scan.place is not Place.CLOSED:
            work = work_mm(scan.measured)
            where = "filed" if scan.place is Place.ARCHIVE else "not filed"
            lines.append(f"Take {_take(scan)}: {shown(scan.file)}, came {clock(scan.admitted_utc, offset_s)}, "
                         f"measures {work.width:.0f} x {work.height:.0f} mm, {where}")  # fmt: skip
    return tuple(lines)


_ANY = Finding("", "", Level.SOUND, None, "")
_WEIGHT = {Level.SOUND: 0, Level.NOTE: 1, Level.UNDECIDED: 2, Level.FAULT: 3}


def _earlier(view: JobView) -> tuple[ScanRow, ...]:
    """Superseded takes, also those in the closed folder; a take that shows another picture is none."""
    closed = tuple(scan for scan in view.scans if scan.place is Place.CLOSED)
    return (*standing(view.scans, view.listed).superseded, *closed)


def _changes(before: ScanRow, after: ScanRow) -> tuple[Change, ...]:
    old = {(f.check, f.name): f for f in before.findings}
    new = {(f.check, f.name): f for f in after.findings}
    found = []
    for key in dict.fromkeys((*old, *new)):
        was, now = old.get(key), new.get(key)
        levels = [f.level if f else Level.SOUND for f in (was, now)]
        if levels[0] is not levels[1] or levels[1] is Level.FAULT:
            better = _WEIGHT[levels[1]] < _WEIGHT[levels[0]]
            found.append(Change(*key, _words(was, key, before), _words(now, key, after), better))
    return tuple(found)


def _words(finding: Finding | None, key: tuple[str, str], scan: ScanRow) -> str:
    reading = next((r for r in scan.measured.readings if (r.check, r.name) == key), None) if scan.measured else None
    if finding is None or finding.level is Level.SOUND:
        return f"sound{_figure(reading)}"
    return in_brief(finding, reading)


def _figure(reading: Reading | None) -> str:
    if reading is None or not isinstance(reading.value, float | int):
        return ""
    return f", {reading.value:.1f} {reading.unit}".rstrip()


def _same(one: ScanRow, other: ScanRow) -> bool:
    a, b = one.name, other.name
    return bool(a and b and (a.part, a.light, a.role) == (b.part, b.light, b.role))


def _take(scan: ScanRow) -> int:
    return scan.name.take if scan.name else 1
