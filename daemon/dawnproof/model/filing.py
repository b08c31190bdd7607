"""A filing: its steps, decided before the first is taken."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from .job import JobRow
from .record import Place


class StepKind(Enum):
    """What one step of a filing does; each can be taken again after a crash without harm."""

    MAKE_FOLDER = "make folder"
    MOVE_SCAN = "move scan"  # source -> target, the scan's home follows
    PUT = "put"  # a derived file from the bench or staging to its place, replacing an older one
    SETTLE = "settle"  # a staged folder gets its final name; never over another
    SHOW = "show"  # a staged folder of derived pictures takes the place of the older one
    CLEAR = "clear"  # an empty folder disappears
    CLOSE = "close"  # notes and records of a job made good go to the closed folder


@dataclass(frozen=True, slots=True)
class FilingStep:
    """One step: paths absolute; `scan` and `sha256` where a scan is moved, `place` where it then lives, `final` its
    path once a staged folder has settled ('' = target)."""

    kind: StepKind
    source: str = ""
    target: str = ""
    scan: int = 0
    sha256: str = ""
    place: Place | None = None
    final: str = ""


@dataclass(frozen=True, slots=True)
class Filing:
    """All steps of one filing of a job, decided and made durable before the first is taken."""

    job: str
    steps: tuple[FilingStep, ...]
    after: JobRow | None = None  # the job as it stands then; None for a scan that belongs to no job
    copies: tuple[tuple[str, str], ...] = ()  # (sha256, path) of copies in a later bag
