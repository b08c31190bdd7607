"""The night as a length: where on a rule from its begin to its end a moment lies, and the figures of that rule."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from ..model import JobView, Level, Night, Pile, ScanRow
from .account import used_scans
from .figures import local
from .watch_kept import began_late

_STEPS_MIN = (1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 10080)

# one shape a pile; also where colour, size and place are lost
SHAPES: dict[Pile | None, str] = {
    Pile.MAY_GO_BACK: "■",
    Pile.LOOK_FIRST: "?",
    Pile.SCAN_AGAIN: "x",
    Pile.DESK: "d",
    Pile.UNFINISHED: "□",
    None: "□",
}
SHAPE_WORDS = "■ back  ? look first  x scan again  d desk  □ open"
_WEIGHT = "■□d?x"


@dataclass(frozen=True, slots=True)
class Tick:
    """A figure of the rule: its place as a share of the whole, and its words."""

    share: float
    words: str


@dataclass(frozen=True, slots=True)
class Arrival:
    """A scan on the rule, in the shape of its job's pile."""

    share: float
    shape: str
    view: JobView
    scan: ScanRow


@dataclass(frozen=True, slots=True)
class Axis:
    """The rule from `begin` to `end` in the studio's own time."""

    begin: datetime
    end: datetime

    def share(self, when: datetime) -> float:
        """0 at the begin, 1 at the end."""
        return min(max((when - self.begin) / (self.end - self.begin), 0.0), 1.0)

    def ticks(self, most: int) -> tuple[Tick, ...]:
        """At most `most` figures at round times."""
        minutes = (self.end - self.begin).total_seconds() / 60
        step = next((s for s in _STEPS_MIN if minutes / s <= max(most, 1)), _STEPS_MIN[-1])
        midnight = self.begin.replace(hour=0, minute=0, second=0, microsecond=0)
        first = -(-int((self.begin - midnight).total_seconds()) // (step * 60))
        ticks = []
        for number in range(first, first + most + 2):
            when = midnight + timedelta(minutes=number * step)
            if when <= self.end:
                ticks.append(Tick(self.share(when), f"{when:%H:%M}" if step % 60 else f"{when:%H}"))
        return tuple(ticks)


def axis(night: Night, least_h: float = 0.0) -> Axis | None:
    """The rule of a night, at least `least_h` long and one minute in any case, from the time the daemon first ran
    where that is later; None where its times are none."""
    begun = began_late(night)
    begin, end = local(begun or night.since_utc, night.offset_s), local(night.until_utc, night.offset_s)
    if begin is None or end is None:
        return None
    return Axis(begin, max(end, begin + timedelta(hours=least_h), begin + timedelta(minutes=1)))


def arrivals(night: Night, bed: str, rule: Axis) -> tuple[Arrival, ...]:
    """The scans of one bed on the rule, in order; those before its begin are left out."""
    found = []
    for view in night.jobs:
        for scan in view.scans:
            when = local(scan.admitted_utc, night.offset_s)
            if scan.bed == bed and when is not None and when >= rule.begin:
                found.append(Arrival(rule.share(when), _shape(view, scan), view, scan))
    return tuple(sorted(found, key=lambda arrival: (arrival.share, arrival.scan.id)))


def heavier(one: str, other: str) -> str:
    """Which of two shapes is shown where both fall on one place."""
    return max(one, other, key=_WEIGHT.find)


def _shape(view: JobView, scan: ScanRow) -> str:
    faulty = any(f.level is Level.FAULT for f in scan.findings)
    if faulty and scan.id not in {used.id for used in used_scans(view)}:
        return SHAPES[Pile.SCAN_AGAIN]
    return SHAPES[view.pile]
