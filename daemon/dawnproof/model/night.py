"""One studio between two moments, as dashboard, page, text and mail show it."""

from __future__ import annotations

from dataclasses import dataclass

from .finding import Pile
from .job import Decision, JobRow, ListedJob
from .place import Bed
from .record import ArrivingRow, EventRow, FixityRow, MailRow, RunRow, ScanRow, StayingRow


@dataclass(frozen=True, slots=True)
class Asked:
    """What the rule book asks of the next scan of a job: bits a channel and ppi to set at least (None = it asks for
    none), and the pattern its file is named by ('' = not known)."""

    bits: int | None = None
    ppi: int | None = None
    naming: str = ""


@dataclass(frozen=True, slots=True)
class JobView:
    """All that a report needs of one job: the row, its scans (closed ones too), its line of the job list, decisions,
    the pile (None while it has no outcome), and where its pictures lie (absolute paths, '' where there is none)."""

    row: JobRow
    scans: tuple[ScanRow, ...]
    listed: ListedJob | None
    decisions: tuple[Decision, ...]
    pile: Pile | None
    proof: str = ""
    details: str = ""
    folder: str = ""  # archive/JOB[.vN] or rework/JOB
    missing: tuple[str, ...] = ()
    asked: Asked = Asked()


@dataclass(frozen=True, slots=True)
class Progress:
    """Work that is going on now: what ('measuring', 'joining', 'filing'), on which job or file, share done 0..1, and
    the helper that does it, as the studio calls it ('' = this machine)."""

    what: str
    subject: str
    share: float
    seconds: float
    helper: str = ""


@dataclass(frozen=True, slots=True)
class Space:
    """Free bytes of a folder's disk, and hours left at tonight's rate (None while nothing was written)."""

    folder: str
    free_bytes: int
    hours_left: float | None = None


@dataclass(frozen=True, slots=True)
class RecurringMark:
    """A streak, spot or soft place that stands at the same place of a bed in two jobs running: the scanner's."""

    bed: str
    kind: str
    x_mm: float
    y_mm: float | None
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Night:
    """One studio between two moments, as dashboard, page, text and mail show it. Times are UTC ISO texts; `offset_s`
    is the studio's offset from UTC, for showing local time."""

    studio: str
    since_utc: str
    until_utc: str
    offset_s: int
    beds: tuple[Bed, ...]
    jobs: tuple[JobView, ...]
    expected_not_seen: tuple[ListedJob, ...]
    arriving: tuple[ArrivingRow, ...]
    staying: tuple[StayingRow, ...]
    unplaced: tuple[ScanRow, ...]
    references: tuple[ScanRow, ...]
    events: tuple[EventRow, ...]
    runs: tuple[RunRow, ...]
    fixity: tuple[FixityRow, ...]
    space: tuple[Space, ...]
    marks: tuple[RecurringMark, ...] = ()
    without_reference: tuple[str, ...] = ()  # beds that worked without a reference scan before the day's first work
    progress: tuple[Progress, ...] = ()
    alarms: tuple[str, ...] = ()
    job_list_problems: tuple[str, ...] = ()
    second: str = ""  # the folder of the second copy, '' where none is set
    mails: tuple[MailRow, ...] = ()  # letters that could not be sent so far
    root: str = ""  # the studio's folder, absolute; '' where it is not known
    asked: Asked = Asked()  # of a work of which nothing is known yet
