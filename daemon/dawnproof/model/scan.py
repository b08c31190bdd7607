"""A scan: what it shows, what its file says before a pixel is seen, what was measured of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from .finding import Mark, Reading
from .place import MM_PER_INCH, Bed, Crop, Sides, Where


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
class Frame:
    """What is known of a scan before a pixel is seen: the header, the bed, the part's outer sides."""

    width_px: int
    height_px: int
    channels: int  # colour channels, alpha left out
    depth_bits: int  # 8 or 16: the type of the samples in the file
    ppi_x: float | None  # what can be computed with: None where the header states none, or one of no scanner
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
    header_ppi: tuple[float, float] = (0.0, 0.0)  # across and along, as stated there, whatever it is; 0 = not at all

    def mm_x(self, px: float) -> float:
        """Pixels to mm across; with no resolution to compute with 300 ppi is assumed for places."""
        return px * MM_PER_INCH / (self.ppi_x or 300.0)

    def mm_y(self, px: float) -> float:
        return px * MM_PER_INCH / (self.ppi_y or 300.0)

    def where(self, x: float, y: float, width: float, height: float) -> Where:
        """A pixel rectangle as a place in mm."""
        return Where(
            round(self.mm_x(x), 3), round(self.mm_y(y), 3), round(self.mm_x(width), 3), round(self.mm_y(height), 3)
        )


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
