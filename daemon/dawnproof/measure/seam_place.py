"""Where a stitch may lie on a scan, and what is kept of it there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..model import MM_PER_INCH, Frame
from .seam_strip import Strip

if TYPE_CHECKING:
    from .outline import Outline

BLENDS_PX = (0.0, 16.0, 40.0)
MOST_DOUBLING_MM = 2.8  # sideways; a lift of about 5 mm on a usual bed
LEAST_REACH_PX = 12  # on either side: narrower strips beside it hold too few columns to compare the stitch with
FULL_WIDTH_MM = 3.0  # a scan this much narrower than the bed still shows all of it
EDGE_PX = 40  # from the work's edge: what is looked at around a column must not hold it


@dataclass(frozen=True)
class Place:
    """One stitch of the bed: the columns it may lie in, its strip and those to compare it with."""

    stitch: range
    own: list[Strip]
    controls: list[Strip]


def stitches_of(frame: Frame) -> list[range]:
    """Columns in which each stitch may lie; the whole width when the scan's place on the bed is not known."""
    bed = frame.bed
    if not bed.seams_mm:
        return []
    narrower = frame.ppi_x is None or frame.mm_x(frame.width_px) < bed.width_mm - FULL_WIDTH_MM
    if (frame.x_position_mm is None and narrower) or frame.ppi_x is None:
        return [range(frame.width_px)]
    px_per_mm = frame.ppi_x / MM_PER_INCH
    reach = max(bed.seam_tolerance_mm, LEAST_REACH_PX / px_per_mm)
    places = [(seam - (frame.x_position_mm or 0.0)) for seam in bed.seams_mm]
    found = [
        range(max(int((p - reach) * px_per_mm), 0), min(int((p + reach) * px_per_mm) + 2, frame.width_px))
        for p in places
    ]
    return [stitch for stitch in found if len(stitch) > 0]


def columns_inside(outline: Outline, width_px: int) -> range:
    """Columns that lie on the work in every row, clear of its own edges: a straight edge that is sharper than the
    picture is as good a stitch as any. Where the work runs out of the frame there is no edge."""
    (left_top, _), (right_top, _), (right_bottom, _), (left_bottom, _) = outline.corners
    box = outline.box
    first = box.x if box.x <= 1 else int(max(left_top, left_bottom, box.x)) + EDGE_PX
    past = box.right if box.right >= width_px - 1 else int(min(right_top, right_bottom, box.right)) - EDGE_PX
    return range(first, max(first, past))


def reaches(place: Place, columns: range) -> bool:
    return max(place.stitch.start, columns.start) + 8 < min(place.stitch.stop, columns.stop)


def distinct(place: Place) -> list[Strip]:
    return place.own if place.own is place.controls else [*place.own, *place.controls]


def most_px(frame: Frame) -> float:
    return float(np.clip(frame.ppi_x or 400.0, 430.0, 660.0) * MOST_DOUBLING_MM / MM_PER_INCH)


def blends_px(frame: Frame) -> tuple[float, ...]:
    if frame.bed.blend_mm <= 0 or not frame.ppi_x:
        return BLENDS_PX
    blend = frame.bed.blend_mm * frame.ppi_x / MM_PER_INCH
    return (round(0.7 * blend, 1), round(blend, 1), round(1.4 * blend, 1))
