"""What the ledger keeps beside jobs: scans and their homes, moves, the lines of the night, letters."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from .finding import Finding
from .scan import Measured, PartName


class Place(Enum):
    """The kind of home a scan has."""

    INBOX = "inbox"  # waiting for its job's outcome
    ARCHIVE = "archive"
    REWORK = "rework"
    CLOSED = "closed"  # superseded takes of a job made good
    UNPLACED = "unplaced"  # no rule understands it, damaged, hostile, or the same bytes again
    TRIALS = "trials"
    REFERENCE = "reference"  # white references, targets, shims
    GONE = "gone"  # a person took it out of the inbox before the job had an outcome


@dataclass(frozen=True, slots=True)
class ScanRow:
    """One scan as the ledger knows it."""

    id: int
    sha256: str
    size_bytes: int
    file: str  # base name as it arrived, shown harmlessly
    name: PartName | None
    bed: str
    place: Place
    home: str  # absolute path of its one home
    admitted_utc: str
    reason: str = ""  # why it is unplaced
    measured: Measured | None = None
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class WaitingScan:
    """A scan that waits in the inbox for its job's outcome, in brief."""

    id: int
    home: str
    file: str
    job: str
    size_bytes: int
    admitted_utc: str
    reason: str


@dataclass(frozen=True, slots=True)
class RootRow:
    """A studio's folder as it was last found to be the right one; `own_disk`: on another file system than the
    ledger."""

    path: str
    dev: int
    ino: int
    own_disk: bool


@dataclass(frozen=True, slots=True)
class MoveRow:
    """One move that was made."""

    sha256: str
    source: str
    target: str
    when_utc: str


@dataclass(frozen=True, slots=True)
class EventRow:
    """One line of the night: when, what kind (arrived, measured, filed, alarm, ...), of which job, in words."""

    when_utc: str
    kind: str
    job: str
    text: str


@dataclass(frozen=True, slots=True)
class ArrivingRow:
    """A file in the inbox that has no scan row yet: settling, measuring or waiting, and why."""

    file: str
    bed: str
    size_bytes: int
    since_utc: str
    state: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class StayingRow:
    """A file that stays where it is: a link, a pipe, an unreadable file, or one left alone by rule."""

    path: str
    file: str
    reason: str
    kind: str


@dataclass(frozen=True, slots=True)
class RunRow:
    """One run of the daemon: begun, last sign of life, ended ('' while it runs or when it was cut off)."""

    begun_utc: str
    beat_utc: str
    ended_utc: str = ""


@dataclass(frozen=True, slots=True)
class FixityRow:
    """One re-reading of a bag."""

    when_utc: str
    bag: str
    ok: bool
    text: str


class MailState(Enum):
    """How a letter stands."""

    WAITING = "waiting"  # to be sent, for the first time or again
    HANDING_OVER = "handing over"  # the server was given the text; until it answers nobody knows whether it has it
    SENT = "sent"
    GIVEN_UP = "given up"  # refused for good, tried often enough, or perhaps sent


@dataclass(frozen=True, slots=True)
class MailRow:
    """One letter to the studio: its file in the outbox, what it is about, how often it was tried, when it is to be
    tried next, and what the last try came to."""

    id: int
    file: str
    subject: str
    made_utc: str
    state: MailState = MailState.WAITING
    tries: int = 0
    next_utc: str = ""
    words: str = ""
