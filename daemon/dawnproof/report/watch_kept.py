"""Whether the daemon watched all night: its runs against the span of the night, and the gaps between them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import Enum

from ..model import Night, RunRow
from .figures import clock, moment, span

GAP_S = 300.0  # a restart or a slow beat is no gap
SHARE = 0.5  # of the span: watched for less, the night was watched in part


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


class Watched(Enum):
    """Whether the night was watched."""

    YES = "Yes"
    PARTLY = "Partly"  # with gaps, or for less than half of the span
    NO = "No"


def watched(night: Night) -> Watched:
    """Whether it was watched without a gap, and for half of the span at least."""
    if not runs_of(night):
        return Watched.NO
    short = watched_s(night) < SHARE * Gap(night.since_utc, night.until_utc, False).seconds
    return Watched.PARTLY if gaps(night) or short else Watched.YES


def watched_s(night: Night) -> float:
    """Seconds of the night in which a run was alive, from the first to the last."""
    begun = began_late(night) or night.since_utc
    return Gap(begun, night.until_utc, False).seconds - sum(gap.seconds for gap in gaps(night))


def ran_words(night: Night) -> str:
    """One sentence: how long and from when to when, without a break or with which gaps, what before was not watched."""
    runs, found = runs_of(night), gaps(night)
    if not runs:
        return "The daemon did not run: nothing was watched, files may lie in the inbox unseen"
    late = began_late(night)
    reach = f"from {clock(late or night.since_utc, night.offset_s)} to {clock(night.until_utc, night.offset_s)}"
    long = f"{span(watched_s(night))}, " if late or found else ""
    before = f"; nothing was watched before {clock(late, night.offset_s)}" if late else ""
    if not found:
        return f"Watched {long}{reach} without a break{before}"
    return f"Watched {long}{reach}, but " + " and ".join(gap.words(night.offset_s) for gap in found) + before


def _last(run: RunRow) -> str:
    return run.ended_utc or run.beat_utc or run.begun_utc


def _at(utc: str) -> datetime:
    found = moment(utc)
    if found is None:  # a run without a readable time was left out before
        raise ValueError(utc)
    return found
