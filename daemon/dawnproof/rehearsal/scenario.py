"""The invented evening: which works were lent, how each was scanned, what went wrong with it, and what has to be said
of it in the morning. Frozen values; nothing is made here."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from ..model import Bed, Pile
from .artworks import Medium
from .bed import Flatbed, Lift, Mishap, Placement, Streak

BED_A = Flatbed(Bed("bed-a", 100.0, 75.0, (50.0,), 5.0, 0.5, "white", 0.25), ppi=400)
BED_B = Flatbed(Bed("bed-b", 100.0, 75.0, (47.0,), 5.0, 0.46, "grey", 0.0), ppi=400, lamp_share=0.58)
BEDS = (BED_A, BED_B)
STREAK = Streak(x_mm=33.0, percent=2.0)
MARGIN_MM = 9.0  # the operator's usual distance from the edge of the bed


class Arrival(Enum):
    """How the scanner's program brings a file into the inbox."""

    PLAIN = "grows under its own name"
    RENAMED = "grows under a temporary name and is renamed"
    PREALLOCATED = "has its full size from the start and is filled"
    CUT_OFF = "ends half-way: the program died"


@dataclass(frozen=True)
class Work:
    """One work that was lent."""

    job: str
    medium: Medium
    height_mm: float
    width_mm: float
    seed: int
    parts: str = "whole"  # as the job list states them
    listed: bool = True  # in the job list


@dataclass(frozen=True)
class Shot:
    """One scan of the evening: which work (None: the reference sheet), where it lay, what went wrong. `act` 1 is the
    evening, 2 what is brought after the first outcomes are known."""

    file_name: str
    work: Work | None
    placement: Placement
    flatbed: Flatbed = BED_A
    mishap: Mishap = field(default_factory=Mishap)
    arrival: Arrival = Arrival.PLAIN
    act: int = 1


@dataclass(frozen=True)
class Expected:
    """What has to be said of one job after an act: its pile, the faults that must be named ("check.name") and those
    that may be named with them (patterns). Every other fault is a false one. `injected` is '' for a sound job."""

    job: str
    injected: str
    piles: frozenset[Pile]
    faults: tuple[str, ...] = ()
    with_them: tuple[str, ...] = ()
    act: int = 1


@dataclass(frozen=True)
class ExpectedUnplaced:
    """A file that has to end among the unplaced; `says` must occur in the reason, any case."""

    file_name: str
    injected: str
    says: tuple[str, ...] = ()


@dataclass(frozen=True)
class Evening:
    """All of it: shots in the order they are made and what must come of them."""

    shots: tuple[Shot, ...]
    jobs: tuple[Expected, ...]
    unplaced: tuple[ExpectedUnplaced, ...]
    not_seen: tuple[str, ...]  # jobs of the list of which nothing usable came
    streak: Streak | None

    @property
    def works(self) -> tuple[Work, ...]:
        """The works in the order they are first scanned."""
        return tuple(dict.fromkeys(shot.work for shot in self.shots if shot.work is not None))


SOUND = frozenset({Pile.MAY_GO_BACK})
SOUND_OR_LOOK = frozenset({Pile.MAY_GO_BACK, Pile.LOOK_FIRST})
SCAN_AGAIN = frozenset({Pile.SCAN_AGAIN})


def saltmarsh_lane() -> Evening:
    """The evening that `dawnproof rehearse` plays."""
    return Evening(_shots(), _jobs(), _unplaced(), ("SL-0412", "SL-0413"), STREAK)


def _whole(job: str, medium: Medium, seed: int, listed: bool = True) -> Work:
    return Work(job, medium, 51.0 + seed % 5, 69.0 + seed % 7, seed, "whole", listed)


WATERCOLOUR = _whole("SL-0401", Medium.WATERCOLOUR, 401)
DRAWING = _whole("SL-0402", Medium.DRAWING, 402)
WIDE_CANVAS = Work("SL-C403", Medium.ACRYLIC, 53.0, 160.0, 403, "L R")
LARGE_OIL = Work("SL-C404", Medium.OIL, 110.0, 158.0, 404, "2x2")
BOWED_CANVAS = _whole("SL-C405", Medium.ACRYLIC, 405)
PALE_WASHES = _whole("SL-0406", Medium.WATERCOLOUR, 406)
RED_GROUND = _whole("SL-0407", Medium.RED_GROUND, 407)
BARE_SHEET = _whole("SL-0408", Medium.BARE_SHEET, 408)
EIGHT_BITS = _whole("SL-0409", Medium.DRAWING, 409)
COARSE = _whole("SL-0410", Medium.WATERCOLOUR, 410)
HALF_DONE = Work("SL-0411", Medium.RED_GROUND, 52.0, 158.0, 411, "L R")
MISNAMED = Work("SL-0412", Medium.WATERCOLOUR, 51.0, 159.0, 412, "L R")
CUT_SHORT = _whole("SL-0413", Medium.RED_GROUND, 413)
SCANNED_TWICE = Work("SL-C414", Medium.ACRYLIC, 52.0, 159.0, 414, "L R")
FIRST_OF_NUMBER = _whole("SL-0415", Medium.WATERCOLOUR, 415)
OTHER_PICTURE = _whole("SL-0415", Medium.DRAWING, 4150, listed=False)
STREAKED = _whole("SL-0416", Medium.WATERCOLOUR, 416)
STREAKED_TOO = _whole("SL-0417", Medium.DRAWING, 417)


def _shots() -> tuple[Shot, ...]:
    bow = Lift(1.03, 27.0, 48.0)
    return (
        Shot("SL-0401_ref.tif", None, _middle()),
        Shot("SL-0401_whole.tif", WATERCOLOUR, _middle(0.11)),
        Shot("SL-0402_whole.tif", DRAWING, _middle(-0.14), BED_B, arrival=Arrival.RENAMED),
        Shot("SL-C403_L.tif", WIDE_CANVAS, _part(WIDE_CANVAS, 0, 0, 0.06)),
        Shot("SL-C403_R.tif", WIDE_CANVAS, _part(WIDE_CANVAS, 0, 1, -0.09)),
        Shot("SL-C404_r1c1.tif", LARGE_OIL, _part(LARGE_OIL, 0, 0, 0.05), arrival=Arrival.PREALLOCATED),
        Shot("SL-C404_r1c2.tif", LARGE_OIL, _part(LARGE_OIL, 0, 1, -0.07)),
        Shot("SL-C404_r2c1.tif", LARGE_OIL, _part(LARGE_OIL, 1, 0, 0.08), arrival=Arrival.RENAMED),
        Shot("SL-C404_r2c2.tif", LARGE_OIL, _part(LARGE_OIL, 1, 1, 0.02)),
        Shot("SL-C405_whole.tif", BOWED_CANVAS, _middle(0.08), mishap=Mishap(lift=bow)),
        Shot("SL-0406_whole.tif", PALE_WASHES, _middle(-0.05), mishap=Mishap(exposure=1.8)),
        Shot("SL-0407_whole.tif", RED_GROUND, _middle(0.17), BED_B),
        Shot("SL-0408_whole.tif", BARE_SHEET, _middle(-0.1), arrival=Arrival.PREALLOCATED),
        Shot("SL-0409_whole.tif", EIGHT_BITS, _middle(0.04), BED_B, Mishap(bits=8)),
        Shot("SL-0410_whole.tif", COARSE, _middle(0.13), mishap=Mishap(ppi=200)),
        Shot("SL-0411_L.tif", HALF_DONE, _part(HALF_DONE, 0, 0, -0.08)),
        Shot("SL0412 left side final.tif", MISNAMED, _part(MISNAMED, 0, 0, 0.1)),
        Shot("SL-0413_whole.tif", CUT_SHORT, _middle(0.02), BED_B, arrival=Arrival.CUT_OFF),
        Shot("SL-C414_L.tif", SCANNED_TWICE, _part(SCANNED_TWICE, 0, 0, 0.07), mishap=Mishap(lift=bow)),
        Shot("SL-C414_R.tif", SCANNED_TWICE, _part(SCANNED_TWICE, 0, 1, -0.04), arrival=Arrival.RENAMED),
        Shot("SL-0415_whole.tif", FIRST_OF_NUMBER, _middle(0.09)),
        Shot("SL-0416_whole.tif", STREAKED, _middle(-0.12), mishap=Mishap(streak=STREAK)),
        Shot("SL-0417_whole.tif", STREAKED_TOO, _middle(0.06), mishap=Mishap(streak=STREAK)),
        Shot("SL-C414_L_t2.tif", SCANNED_TWICE, _part(SCANNED_TWICE, 0, 0, 0.03), act=2),
        Shot("SL-0415_whole.tif", OTHER_PICTURE, _middle(-0.07), act=2),
    )


def _jobs() -> tuple[Expected, ...]:
    return (
        Expected("SL-0401", "", SOUND),
        Expected("SL-0402", "", SOUND),
        Expected("SL-C403", "", SOUND),
        Expected("SL-C404", "", SOUND),
        Expected("SL-C405", "canvas stands 1 mm off the glass", SCAN_AGAIN, ("seam.doubling",), ("seam.*",)),
        Expected("SL-0406", "exposed too bright", SCAN_AGAIN, ("clipping.region",), ("clipping.*",)),
        Expected("SL-0407", "", SOUND),
        Expected("SL-0408", "", SOUND_OR_LOOK),
        Expected("SL-0409", "8 bit in a 16-bit file", SCAN_AGAIN, ("encoding.depth_true",)),
        Expected("SL-0410", "scanned at 200 ppi", SCAN_AGAIN, ("resolution.ppi_x",), ("resolution.*",)),
        Expected("SL-0411", "right half never scanned", SCAN_AGAIN | {Pile.UNFINISHED}, ("job.missing",)),
        Expected("SL-C414", "left half stands off the glass", SCAN_AGAIN, ("seam.doubling",), ("seam.*",)),
        Expected("SL-0415", "", SOUND),
        Expected("SL-0416", "streak at one sensor column", SCAN_AGAIN, ("streaks.worst",), ("streaks.*",)),
        Expected("SL-0417", "the same streak", SCAN_AGAIN, ("streaks.worst",), ("streaks.*",)),
        Expected("SL-C414", "", SOUND, act=2),
        Expected("SL-0415", "another picture under a taken number",
                 frozenset({Pile.DESK, Pile.SCAN_AGAIN}), ("job.other_picture",), ("job.*",), act=2),
    )  # fmt: skip


def _unplaced() -> tuple[ExpectedUnplaced, ...]:
    return (
        ExpectedUnplaced("SL0412 left side final.tif", "a name no rule understands", ("SL-0412",)),
        ExpectedUnplaced("SL-0413_whole.tif", "file cut off half-way"),
    )


def _middle(skew_deg: float = 0.0) -> Placement:
    """A work that fits, a good margin from the corner of the bed."""
    over, down = _by_hand(skew_deg)
    return Placement(MARGIN_MM + 3.0 + over, MARGIN_MM + down, skew_deg)


def _part(work: Work, row: int, column: int, skew_deg: float) -> Placement:
    """One part of a work in at most two rows and columns on bed A: outer sides a margin inside the bed, inner sides
    beyond it."""
    over, down = _by_hand(skew_deg)
    x_mm = MARGIN_MM if column == 0 else BED_A.bed.width_mm - MARGIN_MM - work.width_mm
    y_mm = MARGIN_MM if row == 0 else BED_A.bed.length_mm - MARGIN_MM - work.height_mm
    return Placement(x_mm + over, y_mm + down, skew_deg)


def _by_hand(skew_deg: float) -> tuple[float, float]:
    """Nobody lays two works on the same spot: up to a millimetre to either side, another for each skew."""
    count = round(100 * skew_deg)
    return (count * 37 % 21 - 10) / 10, (count * 23 % 19 - 9) / 10
