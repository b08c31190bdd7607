"""The values that flow from a file to the morning summary: frozen, in the trade's words, without behaviour that
needs a disk, a clock or a screen."""

from __future__ import annotations

import os
import unicodedata
from dataclasses import dataclass, field
from enum import Enum

MM_PER_INCH = 25.4


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


class Role(Enum):
    """What a scan shows."""

    WORK = "work"  # the work itself, or a part of it
    REF = "ref"  # white reference
    TARGET = "target"  # colour or resolution target
    SHIM = "shim"  # test sheet on a shim of known thickness
    TRIAL = "trial"  # a try, not meant to be kept
    BACK = "back"  # the reverse of the work
    OVERVIEW = "overview"  # the whole work at low resolution


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in whole pixels of the unrotated scan, from the top left."""

    x: int
    y: int
    width: int
    height: int

    @property
    def right(self) -> int:
        return self.x + self.width

    @property
    def bottom(self) -> int:
        return self.y + self.height


@dataclass(frozen=True, slots=True)
class SeamSample:
    """One value of the profile along the seam: place (mm from the top), signed doubling (px, + lifted), lift (mm,
    None without a calibrated parallax), certainty 0..1."""

    y_mm: float
    px: float | None
    mm: float | None
    sure: float


@dataclass(frozen=True, slots=True)
class Where:
    """A place on the scan in mm from its top left."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    profile: tuple[SeamSample, ...] | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """One measured quantity. `value` None means: could not be taken, and `why` says why.

    `sure` s: of readings near 0.9, about nine in ten lie within the stated tolerance. `certain` is the measuring
    module's own word on whether a fault may be built on it alone (else the finding stays a note).
    """

    check: str
    name: str
    value: float | str | None
    unit: str
    sure: float = 1.0
    where: Where | None = None
    why: str = ""
    certain: bool = True


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


@dataclass(frozen=True, slots=True)
class Bed:
    """A scanner bed: size and seam places in mm from the left edge of a full-width scan; `parallax` is
    tan t1 + tan t2 at the stitch, None until calibrated; `blend_mm` the width of the stitch's blend zone."""

    name: str
    width_mm: float
    length_mm: float
    seams_mm: tuple[float, ...] = ()
    seam_tolerance_mm: float = 5.0
    parallax: float | None = None
    lid: str = "white"
    blend_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Sides:
    """Which sides of a scan are outer sides of the work; inner sides of parts run out of the frame by nature."""

    left: bool = True
    top: bool = True
    right: bool = True
    bottom: bool = True


@dataclass(frozen=True, slots=True)
class Frame:
    """What is known of a scan before a pixel is seen: the header, the bed, the part's outer sides."""

    width_px: int
    height_px: int
    channels: int  # colour channels, alpha left out
    depth_bits: int  # 8 or 16: the type of the samples in the file
    ppi_x: float | None
    ppi_y: float | None
    compression: str
    icc: bytes | None
    bed: Bed
    outer: Sides = field(default_factory=Sides)
    x_position_mm: float | None = None  # where the scan's left edge lies on the bed, if the header says so
    role: Role = Role.WORK
    stated_width_mm: float | None = None  # of the whole work, from the job list
    stated_height_mm: float | None = None
    relief: bool = False  # the kind's word: canvas, impasto

    def mm_x(self, px: float) -> float:
        """Pixels to mm across; with no resolution in the header 300 ppi is assumed for places."""
        return px * MM_PER_INCH / (self.ppi_x or 300.0)

    def mm_y(self, px: float) -> float:
        return px * MM_PER_INCH / (self.ppi_y or 300.0)

    def where(self, x: float, y: float, width: float, height: float) -> Where:
        """A pixel rectangle as a place in mm."""
        return Where(
            round(self.mm_x(x), 3), round(self.mm_y(y), 3), round(self.mm_x(width), 3), round(self.mm_y(height), 3)
        )


@dataclass(frozen=True, slots=True)
class Crop:
    """Smallest upright rectangle around the work plus border (`box`), cut at the frame; skew positive = clockwise."""

    box: Box
    skew_deg: float
    tight: Box
    corners: tuple[tuple[float, float], ...] = ()  # of the work, edge coordinates (x, y), clockwise from the top left
    runs_out: Sides = Sides(False, False, False, False)  # where the work reaches the frame


@dataclass(frozen=True, slots=True)
class Measured:
    """What a child sends back of one scan: header facts, digest, readings, place of the work, a small picture."""

    sha256: str
    size_bytes: int
    width_px: int
    height_px: int
    channels: int
    depth_bits: int
    ppi_x: float | None
    ppi_y: float | None
    compression: str
    profile: str
    icc_sha256: str
    readings: tuple[Reading, ...]
    crop: Crop | None
    thumb: bytes = b""  # PNG, 8 bit, grey, of the whole scan, long side <= 256: tells one picture from another
    seconds: tuple[tuple[str, float], ...] = ()  # share of decode, digest and each check
    x_position_mm: float | None = None  # where the left edge lies on the bed, if the header says so
    marks: tuple[Mark, ...] = ()  # streaks, spots and softness, for comparing with other jobs of the bed


@dataclass(frozen=True, slots=True)
class PartName:
    """What a file name says: job number, part label (whole, L, R, T, B, r1c2, 2of4, or the role), role, take, light,
    bed. `take` is 1 where the name has none; `stated_take` tells the two apart."""

    job: str
    part: str
    role: Role = Role.WORK
    take: int = 1
    light: str = ""
    bed: str = ""
    stated_take: bool = False


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
class MoveRow:
    """One move that was made."""

    sha256: str
    source: str
    target: str
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
    """Work that is going on now: what ('measuring', 'joining', 'filing'), on which job or file, share done 0..1."""

    what: str
    subject: str
    share: float
    seconds: float


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


@dataclass(frozen=True, slots=True)
class Identity:
    """Which file this is and in which state (stat, links not followed): any write, replacement or rename changes it."""

    dev: int
    ino: int
    size: int
    mtime_ns: int
    ctime_ns: int

    @classmethod
    def of(cls, state: os.stat_result) -> Identity:
        return cls(state.st_dev, state.st_ino, state.st_size, state.st_mtime_ns, state.st_ctime_ns)


def shown(name: str | bytes) -> str:
    """A file name made safe for terminal, log, page and mail: whatever could steer them (controls, escapes, line and
    paragraph ends, bidi marks, private and unassigned characters, bytes that are no UTF-8) is written out as \\xNN,
    \\uNNNN or \\UNNNNNNNN; all else stays as it is. For showing only: the raw name is kept beside it."""
    text = name.decode("utf-8", "surrogateescape") if isinstance(name, bytes) else name
    return "".join(_visible(character) for character in text)


def _visible(character: str) -> str:
    category, code = unicodedata.category(character), ord(character)
    if category[0] != "C" and category not in ("Zl", "Zp"):
        return character
    if 0xDC80 <= code <= 0xDCFF:  # a byte that was no UTF-8, as surrogateescape carries it
        return f"\\x{code - 0xDC00:02x}"
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
