"""The stitch from a scan of a test sheet on a shim: its place, the width of its blend zone, and the bed's parallax.

The sheet must be textured all over, flat, and lifted by the same known thickness along the whole stitch; then
D = shim * (tan t1 + tan t2), and what is found is put into the bed's profile.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..model import MM_PER_INCH
from .band import Band
from .doubling import search_up_to
from .seam_profile import NARROW_PX, profile, settle
from .seam_search import Ground, Mark, around, find, samples_wide
from .seam_strip import Strip, whole_width

MOST_PX = 72.0
BLENDS_PX = (0.0, 16.0, 40.0)
LEAST_SCORE, LEAST_RIVAL = 18.0, 2.0
MOST_UNEVEN_PX = 1.0  # a sheet that does not lie evenly on its shim cannot calibrate


@dataclass(frozen=True)
class ShimFit:
    """Found on a shim scan: first column of the right view and width of the blend zone, px; doubling, px, and how much
    it varies along the stitch; parallax = tan t1 + tan t2. `why`: what went wrong; then the rest is not to be used."""

    column: int = 0
    blend_px: float = 0.0
    doubling_px: float = 0.0
    uneven_px: float = 0.0
    parallax: float = 0.0
    why: str = ""


def fit_shim(pixels: npt.NDArray[np.generic], ppi: float, shim_mm: float) -> ShimFit:
    """The stitch of a shim scan or a strip of it. `pixels`: (rows, columns, channels), uint8 or uint16."""
    rows, columns = pixels.shape[:2]
    strips = whole_width(columns, search_up_to(MOST_PX, BLENDS_PX), 1)
    for strip in strips:
        strip.see(Band(0, pixels))
        strip.finish()
    found = find(strips, strips, Ground(range(rows), range(columns), range(columns)))
    if found is None:
        return ShimFit(why="the strip is too small")
    far, near = found.far, found.near
    marks = [m for m in (far, near) if m.score >= max(LEAST_SCORE, LEAST_RIVAL * m.rival)]
    if not marks:
        return ShimFit(why="no stitch stands out: is the sheet textured, and is it lifted?")
    mark = _as_the_rows_say(strips, marks[0], range(rows))
    return _fit(around(strips, mark.column), mark, range(rows), ppi, shim_mm)


def _as_the_rows_say(strips: list[Strip], mark: Mark, rows: range) -> Mark:
    """The mark with the displacement that its rows find likeliest of all: across a cut a sharp sheet repeats at a small
    lag as well, which is the break itself."""
    mark, along = samples_wide(strips, mark, rows)
    doubled = [sample.px for sample in along if sample.px is not None]
    return replace(mark, px=float(np.median(doubled)), most_px=max(doubled)) if doubled else mark


def _fit(strip: Strip, mark: Mark, rows: range, ppi: float, shim_mm: float) -> ShimFit:
    column, blend_px = settle(strip, mark.column, mark.blend_px, mark.px, rows)
    fine = tuple(float(np.clip(blend_px + step, 0, 60)) for step in NARROW_PX)
    column, blend_px = settle(strip, column, blend_px, mark.px, rows, fine)
    along = [s.px for s in profile(strip, column, blend_px, 1.25 * mark.most_px + 5, rows) if s.px is not None]
    if not along:
        return ShimFit(why="the doubling cannot be followed along the stitch")
    doubling = float(np.median(along))
    uneven = float(np.quantile(np.abs(np.array(along) - doubling), 0.9))
    parallax = doubling * MM_PER_INCH / ppi / shim_mm
    why = f"the sheet does not lie evenly: the doubling varies by {uneven:.1f} px" if uneven > MOST_UNEVEN_PX else ""
    return ShimFit(column, blend_px, doubling, uneven, parallax, why)
