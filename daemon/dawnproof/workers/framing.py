"""Where the work lies on a scan whose place in the grid is known, and on the joined image: the master is cut to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..assemble.crop import crop_box
from ..assemble.parts import JoinPlan
from ..measure.band import Band
from ..measure.border import BorderCheck
from ..model import Box, Crop, Measured
from ..naming import outer_sides
from ..policy import Context, judge_scan
from ..storage.tiff import Scan
from .asks import Ask
from .job_asks import JobAsk, PartAsk
from .measuring import frame_of


def with_outer_sides(part: PartAsk, scan: Scan, ask: JobAsk) -> PartAsk:
    """The part with its outline as the whole grid shows it: while it was measured nobody knew whether the right and
    the bottom side of an rNcM part are outer sides of the work."""
    outer = outer_sides(part.label, ask.grid)
    if outer == outer_sides(part.label):
        return part
    frame = frame_of(scan.facts, Ask(part.path, part.bed, outer, border_mm=ask.book.crop.border_mm))
    check = BorderCheck(frame)
    row = 0
    for pixels in scan.bands():
        check.see(Band(row, pixels))
        row += pixels.shape[0]
    outline = check.outline()
    crop = crop_box(outline, frame, ask.book.crop.border_mm) if outline.found else part.measured.crop
    readings = tuple(check.readings(outline))
    others = tuple(r for r in part.measured.readings if r.check != "crop")
    context = Context(listed=ask.listed, whole=False)
    findings = (*(f for f in part.findings if f.check != "crop"), *judge_scan(readings, ask.book, context))
    measured = replace(part.measured, crop=crop, readings=(*others, *readings))
    return replace(part, measured=measured, findings=findings)


def joined_tight(ask: JobAsk, plan: JoinPlan) -> Box:
    """The work on the joined image: outer corners of the parts, carried over by their transforms."""
    placed = {p.name: p for p in plan.parts}
    edges: dict[str, list[float]] = {"left": [], "top": [], "right": [], "bottom": []}
    every: list[tuple[float, float]] = []
    for part in ask.parts:
        crop = part.measured.crop or whole_frame(part.measured)
        corners = crop.corners or _corners(crop.tight)
        matrix = placed[part.file].matrix
        moved = [tuple(matrix @ np.array((x - 0.5, y - 0.5, 1.0)) + 0.5) for x, y in corners]
        every += moved
        outer = outer_sides(part.label, ask.grid)
        for side, pair, axis in (("left", (0, 3), 0), ("top", (0, 1), 1), ("right", (1, 2), 0), ("bottom", (2, 3), 1)):
            if getattr(outer, side):
                edges[side] += [moved[i][axis] for i in pair]
    xs, ys = [p[0] for p in every], [p[1] for p in every]
    left, top = min(edges["left"] or xs), min(edges["top"] or ys)
    right, bottom = max(edges["right"] or xs), max(edges["bottom"] or ys)
    x, y = max(0, int(np.floor(left))), max(0, int(np.floor(top)))
    return Box(x, y, min(plan.width, int(np.ceil(right))) - x, min(plan.height, int(np.ceil(bottom))) - y)


def _corners(box: Box) -> tuple[tuple[float, float], ...]:
    return ((box.x, box.y), (box.right, box.y), (box.right, box.bottom), (box.x, box.bottom))


def whole_frame(measured: Measured) -> Crop:
    """The place of a work whose outline was not found: the scan as it is."""
    box = Box(0, 0, measured.width_px, measured.height_px)
    return Crop(box, 0.0, box)


def bordered(tight: Box, border: int, width: int, height: int) -> Box:
    """The rectangle with a border of so many pixels, as far as the picture goes."""
    x, y = max(0, tight.x - border), max(0, tight.y - border)
    return Box(x, y, min(width, tight.right + border) - x, min(height, tight.bottom + border) - y)
