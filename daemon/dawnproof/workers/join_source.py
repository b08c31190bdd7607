"""A scan as the join reads it, and where the bed's stitches run through it."""

from __future__ import annotations

from dataclasses import dataclass

from ..assemble.parts import Pixels
from ..model import MM_PER_INCH, Bed
from ..storage.tiff import Scan

LEAST_HALF_STRIP_MM = 10.0
_FULL_WIDTH = 0.98  # of the bed: a scan as wide as this begins at its left edge


@dataclass(frozen=True, slots=True)
class PartSource:
    """Random access to the pixels of an open scan."""

    scan: Scan

    @property
    def width(self) -> int:
        return self.scan.facts.width_px

    @property
    def height(self) -> int:
        return self.scan.facts.height_px

    @property
    def channels(self) -> int:
        return self.scan.facts.channels

    @property
    def depth_bits(self) -> int:
        return self.scan.facts.depth_bits

    def region(self, x: int, y: int, width: int, height: int) -> Pixels:
        return self.scan.region(x, y, width, height)


def stitches_px(bed: Bed, x_position_mm: float | None, width_px: int, ppi: float) -> tuple[float, ...]:
    """Places of the bed's stitches across a scan; none where nobody knows where on the bed it lay."""
    left_mm = x_position_mm
    if left_mm is None and width_px * MM_PER_INCH / ppi > _FULL_WIDTH * bed.width_mm:
        left_mm = 0.0
    if left_mm is None:
        return ()
    at = [(s - left_mm) * ppi / MM_PER_INCH for s in bed.seams_mm]
    return tuple(x for x in at if 0 < x < width_px)


def half_strip_px(bed: Bed, ppi: float) -> float:
    """How far either side of a stitch no cut may run."""
    return max(LEAST_HALF_STRIP_MM, bed.seam_tolerance_mm + bed.blend_mm) * ppi / MM_PER_INCH
