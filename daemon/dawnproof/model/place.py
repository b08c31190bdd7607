"""Places in pixels and in mm: on the scan, on the bed, along a stitch, around the work."""

from __future__ import annotations

from dataclasses import dataclass

MM_PER_INCH = 25.4
# Small flatbeds resolve 4800 to 6400 ppi and store up to twice that, enlarged; no work that lies on a bed was scanned
# at more, so a header beyond it is a mistake of the program that wrote it.
MOST_PLAUSIBLE_PPI = 12_800.0


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
class Crop:
    """Smallest upright rectangle around the work plus border (`box`), cut at the frame; skew positive = clockwise."""

    box: Box
    skew_deg: float
    tight: Box
    corners: tuple[tuple[float, float], ...] = ()  # of the work, edge coordinates (x, y), clockwise from the top left
    runs_out: Sides = Sides(False, False, False, False)  # where the work reaches the frame
