"""A job: as the studio expects it, as it stands, as a person decided of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from .finding import Finding, Outcome


@dataclass(frozen=True, slots=True)
class ListedJob:
    """A line of the studio's job list: an expected work. Sizes in mm; `print_mm` the ordered print's long side."""

    job: str
    width_mm: float | None = None
    height_mm: float | None = None
    medium: str = ""
    print_mm: float | None = None
    due: str = ""
    hold: str = ""
    handling: str = ""
    up: str = ""
    parts: tuple[str, ...] = ()


class JobState(Enum):
    """Where a job is in its life."""

    WAITING = "waiting"  # parts still to come, or quiet not yet long enough
    UNFINISHED = "unfinished"  # said to be unfinished; stays in the inbox
    WORKING = "working"  # being joined, cropped, filed
    ARCHIVED = "archived"
    REWORK = "rework"


@dataclass(frozen=True, slots=True)
class Decision:
    """What a person decided of a job: accept, refuse, release, place, with the reason and the time."""

    who: str
    what: str
    because: str
    when_utc: str


@dataclass(frozen=True, slots=True)
class JobRow:
    """A job as the ledger keeps it. Texts of `join`, `crop` and `print_sizes` are JSON as record.json holds them."""

    job: str
    state: JobState
    version: int = 0  # of the newest bag; 0 = none
    outcome: Outcome | None = None
    kind: str = ""
    findings: tuple[Finding, ...] = ()
    waits_for: str = ""
    waits_until_utc: str = ""
    first_utc: str = ""
    last_utc: str = ""
    judged_utc: str = ""
    said_unfinished: bool = False
    join: str = ""
    crop: str = ""
    print_sizes: str = ""
    master: str = ""  # path of the newest production master
    second_missing: bool = False
    accepted: bool = False
    refused: bool = False
    released: bool = False
