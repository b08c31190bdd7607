"""Whether the daemon watched all night: its runs against the span of the night, and the gaps between them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from ..model import Night, RunRow
from .figures import clock, moment, span

GAP_S = 300.0  # a restart or a slow beat is no gap


@dataclass(frozen=True, slots=True)
class Gap:
    """A time nobody watched. `cut_off`: the run before it did not end of itself (power, crash, killed)."""

    from_utc: str
    to_utc: str
    cut_off: bool

    @property
    def seconds(self) -> float:
        begin, end = moment(self.from_utc), moment(self.to_utc)
        return (end - begin).total_seconds() if begin and end else 0.0

    def words(self, offset_s: int) -> str:
        """'stopped from 01:10 to 03:42 (2 h 32 min)'."""
        how = "cut off" if self.cut_off else "stopped"
        return f"{how} from {clock(self.from_utc, offset_s)} to {clock(self.to_utc, offset_s)} ({span(self.seconds)})"


def runs_of(night: Night) -> tuple[RunRow, ...]:
    """The runs that reach into the night, in order."""
    since, until = moment(night.since_utc), moment(night.until_utc)
    held = [r for r in night.runs if _last(r) and moment(r.begun_utc)]
    inside = [r for r in held if since and until and _at(_last(r)) >= since and _at(r.begun_utc) <= until]
    return tuple(sorted(inside, key=lambda r: _at(r.begun_utc)))


def gaps(night: Night) -> tuple[Gap, ...]:
    """Times after the first run began in which none was alive, 5 minutes or longer."""
    found: list[Gap] = []
    runs = runs_of(night)
    begins = [*(run.begun_utc for run in runs[1:]), night.until_utc]
    for run, begun in zip(runs, begins, strict=False):
        gap = Gap(_last(run), begun, not run.ended_utc)
        if gap.seconds > GAP_S:
            found.append(gap)
    return tuple(found)


def began_late(night: Night) -> str:
    """The UTC text of the first run's begin when that lies after the begin of the night; '' otherwise."""
    runs = runs_of(night)
    return runs[0].begun_utc if runs and Gap(night.since_utc, runs[0].begun_utc, False).seconds > GAP_S else ""


def ran_words(night: Night) -> str:
    """One sentence: from when to when, without a break or with which gaps."""
    runs, found = runs_of(night), gaps(night)
    if not runs:
        return "The daemon did not run: nothing was watched, files may lie in the inbox unseen"
    begun = runs[0].begun_utc if began_late(night) else night.since_utc
    reach = f"from {clock(begun, night.offset_s)} to {clock(night.until_utc, night.offset_s)}"
    if not found:
        return f"Watched {reach} without a break"
    return f"Watched {reach}, but " + " and ".join(gap.words(night.offset_s) for gap in found)


def _last(run: RunRow) -> str:
    return run.ended_utc or run.beat_utc or run.begun_utc


def _at(utc: str) -> datetime:
    found = moment(utc)
    if found is None:  # a run without a readable time was left out before
        raise ValueError(utc)
    return found
