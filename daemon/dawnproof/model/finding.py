"""From a reading to what is to be done: readings, limits, findings, outcome, pile."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Literal

from .place import Where


@dataclass(frozen=True, slots=True)
class Reading:
    """One measured quantity. `value` None means: could not be taken, and `why` says why.

    `sure` s: of readings near 0.9, about nine in ten lie within the stated tolerance. `certain` is the measuring
    module's own word on whether a fault may be built on it alone (else the finding stays a note). `side`: which side of
    the scan it was taken at, where it is one of the four's.
    """

    check: str
    name: str
    value: float | str | None
    unit: str
    sure: float = 1.0
    where: Where | None = None
    why: str = ""
    certain: bool = True
    side: Literal["", "left", "top", "right", "bottom"] = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """Something seen at one place that may belong to the scanner rather than to the work: only its return at the
    same place of the bed in another job can tell.

    Place in mm from the scan's top left; a streak runs along the whole travel and has no `y_mm`. `strength`: % of
    the surroundings for a streak (signed, + bright) or a spot (signed), share of the scan's own best edge response
    for softness.
    """

    kind: str  # "streak" | "spot" | "soft"
    x_mm: float
    y_mm: float | None
    size_mm: float
    strength: float


@dataclass(frozen=True, slots=True)
class Limit:
    """What the rule book allows: worse is above (below = False) or below (below = True); inclusive unless strict
    (strict: the limit value itself is already worse); compared with the absolute value."""

    note: float | None = None
    fault: float | None = None
    below: bool = False
    strict: bool = False
    source: str = ""


class Level(Enum):
    """What a finding says of a reading."""

    SOUND = "sound"  # within its limit
    NOTE = "note"  # worth a look, stops nothing
    FAULT = "fault"  # sends the job to rework
    UNDECIDED = "undecided"  # could not be judged; the reason is in the text


class Needs(Enum):
    """What mends a fault."""

    ARTWORK = "artwork"  # the work must be scanned again
    DESK = "desk"  # a name, a profile or the rule book: the work may leave


@dataclass(frozen=True, slots=True)
class Finding:
    """A reading held against its limit. `text` is one sentence with figure and limit, `advice` what to do. `asked`
    False: there was nothing to judge, as on a bed without a stitch; such an undecided finding holds nothing back."""

    check: str
    name: str
    level: Level
    needs: Needs | None
    text: str
    advice: str = ""
    where: Where | None = None
    asked: bool = True


class Outcome(Enum):
    """Where a job's scans are filed."""

    ARCHIVE = "archive"
    REWORK = "rework"


class Pile(Enum):
    """Where the morning puts a job."""

    MAY_GO_BACK = "may go back"  # archived, nothing undecided that matters
    LOOK_FIRST = "look first"  # archived, something undecided: look at its close-up
    SCAN_AGAIN = "scan again"  # rework that needs the artwork
    DESK = "mend at the desk"  # rework that needs a name, a profile or a rule
    UNFINISHED = "unfinished"  # parts still to come
