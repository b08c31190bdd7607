"""The crop: the smallest upright rectangle around the work plus the border, cut at the frame."""

from __future__ import annotations

from ..measure.outline import Outline
from ..model import MM_PER_INCH, Box, Crop, Frame


def crop_box(outline: Outline, frame: Frame, border_mm: float) -> Crop:
    """The crop of a scan in whole pixels of the unrotated scan; never inside the work."""
    across = round(border_mm * (frame.ppi_x or 300.0) / MM_PER_INCH)
    along = round(border_mm * (frame.ppi_y or 300.0) / MM_PER_INCH)
    tight = outline.box
    left, top = max(0, tight.x - across), max(0, tight.y - along)
    right, bottom = min(frame.width_px, tight.right + across), min(frame.height_px, tight.bottom + along)
    box = Box(left, top, right - left, bottom - top)
    return Crop(box, round(outline.skew_deg or 0.0, 4), tight, outline.corners, outline.runs_out)
