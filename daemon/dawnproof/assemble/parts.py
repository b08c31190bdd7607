"""What a join is given and what it decides: the values between reading, planning and rendering."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from ..model import Box, Level, Reading

Pixels = npt.NDArray[Any]  # (rows, columns, channels), uint8 or uint16
Matrix = npt.NDArray[np.float64]  # (2, 3), pixel centres to pixel centres, x right, y down


class PixelSource(Protocol):
    """Random access to the pixels of one part."""

    @property
    def width(self) -> int: ...
    @property
    def height(self) -> int: ...
    @property
    def channels(self) -> int: ...
    @property
    def depth_bits(self) -> int: ...

    def region(self, x: int, y: int, width: int, height: int) -> Pixels:
        """(rows, columns, channels), uint8 or uint16; the rectangle lies inside the part."""
        ...


@dataclass(frozen=True)
class JoinPart:
    """One part of a work. `name` is what messages and records call it, `label` its place: L R T B r1c2 2of4
    overview. `seams_px` are the stitch places across the part, each barred `seam_halfwidth_px` either side;
    `admitted_s` seconds on any common clock; `box` where the work lies in the part, None = everywhere."""

    name: str
    label: str
    image: PixelSource
    ppi: float
    icc: bytes | None = None
    seams_px: tuple[float, ...] = ()
    seam_halfwidth_px: float = 0.0
    admitted_s: float | None = None
    box: Box | None = None


@dataclass(frozen=True)
class JoinSettings:
    """What the house allows a join to do. Every number is a trial value.

    `least_share`: how wide an overlap is at least, as a share of the smaller part's own extent across it.
    """

    least_share: float = 0.05
    most_share: float = 0.9  # above: the same picture twice
    most_rotation_deg: float = 5.0
    most_scale_percent: float = 1.0
    most_warp_px: float = 12.0
    most_residual_px: float = 0.75  # after the smooth correction: above it the parts cannot be laid together
    most_adrift_share: float = 0.08  # of the overlap's patches that lie together and show nothing common
    most_gain: float = 1.5
    most_clipped_share: float = 0.1  # of the overlap on the work
    turned_relief: float = 0.5  # a turned part whose relief agrees less is refused
    turned_differing: float = 0.02  # or this share of its fine detail differs
    note_scale_percent: float = 0.1  # parts that differ more in scale are said, beyond the next as a fault
    fault_scale_percent: float = 0.3
    light_relief: float = 0.5  # below: lit differently, said as a fault
    session_h: float = 4.0
    feather_px: float = 3.0  # half width of the blend at a cut
    ppi_tolerance_percent: float = 0.1


@dataclass(frozen=True)
class Overlap:
    """Two parts on one another. `share` of the smaller part's area; `residual_px` root mean square left after all
    corrections; `warp_px` largest smooth local correction; `closure_px` how far this pair's own fit lies from the
    one solution of all pairs; `relief` None when the overlap holds no relief above the noise."""

    a: str
    b: str
    share: float
    residual_px: float
    warp_px: float
    rotation_deg: float
    scale_percent: float
    tone_percent: float
    relief: float | None
    overlap_mm: float
    closure_px: float


@dataclass(frozen=True)
class Warp:
    """A smooth displacement over the joined image: `grid_px` (rows, columns, 2) as x, y, bilinear in between, node
    (0, 0) at (`x0`, `y0`), nodes `step` apart, zero outside. The part is read where place + displacement maps to."""

    x0: float
    y0: float
    step: float
    grid_px: npt.NDArray[np.float64]


@dataclass(frozen=True)
class PlacedPart:
    """Where a part goes: `matrix` its pixel centres to the joined image's, before `warps`; gain per channel on
    linear values; `turns` quarter turns anticlockwise that bring the part upright, contained in `matrix`."""

    name: str
    matrix: Matrix
    gain: tuple[float, ...]
    turns: int = 0
    row: int = 0
    column: int = 0
    warps: tuple[Warp, ...] = ()


@dataclass(frozen=True)
class Cut:
    """A line on the joined image from which on the other part is shown. Upright (`upright`): for row `first` + i
    the cut lies left of column `path[i]`; otherwise for column `first` + i above row `path[i]`. (`a`, `b`) name
    the parts, or the first parts of two rows of parts, before and behind the cut."""

    a: str
    b: str
    upright: bool
    first: int
    path: npt.NDArray[np.float32]

    def polyline(self, points: int = 64) -> tuple[tuple[float, float], ...]:
        """The cut as (x, y) in joined pixels, thinned."""
        at = np.unique(np.linspace(0, len(self.path) - 1, points).astype(int))
        pairs = [(float(self.path[i]), float(self.first + i)) for i in at]
        return tuple(pairs) if self.upright else tuple((y, x) for x, y in pairs)


@dataclass(frozen=True)
class JoinNote:
    """Something the operator should know of a join that was made; `code` is a stable word."""

    code: str
    text: str
    fault: bool = False
    part: str = ""  # the one part it is about, '' for several


@dataclass(frozen=True)
class Geometry:
    """What an overview of the whole work says of the join, in one sentence; UNDECIDED where it could not be asked,
    FAULT where it contradicts. `largest_mm`: the largest displacement of two parts against the overview."""

    level: Level
    text: str
    largest_mm: float | None = None


@dataclass(frozen=True)
class JoinPlan:
    """All that rendering needs and all that is said of a join."""

    width: int
    height: int
    channels: int
    depth_bits: int
    ppi: float
    icc: bytes | None
    parts: tuple[PlacedPart, ...]
    overlaps: tuple[Overlap, ...]
    cuts: tuple[Cut, ...]
    readings: tuple[Reading, ...]
    notes: tuple[JoinNote, ...]
    reference: str
    feather_px: float
    fill: tuple[int, ...] = field(default=())
    geometry: Geometry | None = None  # None where there is no overview
