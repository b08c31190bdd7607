"""Where a stitch may lie: as closely as it is known, but never so closely that there is nothing to compare it with."""

from __future__ import annotations

import numpy as np
import pytest
import scans
import surfaces

from dawnproof.measure.outline import whole_frame
from dawnproof.measure.seam import SeamCheck
from dawnproof.measure.seam_place import LEAST_REACH_PX, stitches_of
from dawnproof.model import MM_PER_INCH, Bed

ROWS, COLUMNS, STITCH, PPI = 700, 1200, 600, 400.0


def bed(tolerance_mm: float) -> Bed:
    mm = MM_PER_INCH / PPI
    return Bed("bed-a", COLUMNS * mm, ROWS * mm, (STITCH * mm,), tolerance_mm, 0.5)


def scanned(doubling_px: float, tolerance_mm: float) -> scans.Scan:
    stitch = scans.Stitch(STITCH, np.full(ROWS, doubling_px))
    return scans.make_scan(surfaces.strokes(ROWS, COLUMNS, 3), None, stitch, ppi=PPI, bed=bed(tolerance_mm), seed=3)


@pytest.mark.parametrize(("tolerance_mm", "reach_px"), [(0.0, LEAST_REACH_PX), (0.2, LEAST_REACH_PX), (5.0, 78)])
def test_the_tolerance_bounds_where_it_is_looked_for(tolerance_mm: float, reach_px: float) -> None:
    (stitch,) = stitches_of(scanned(0.0, tolerance_mm).frame)
    assert stitch.start == pytest.approx(STITCH - reach_px, abs=2)
    assert stitch.stop == pytest.approx(STITCH + reach_px, abs=3)


@pytest.mark.parametrize("tolerance_mm", [0.0, 0.2, 1.0])
@pytest.mark.parametrize("doubling_px", [0.0, 7.0])
def test_a_stitch_known_to_a_hair_is_still_judged(doubling_px: float, tolerance_mm: float) -> None:
    scan = scanned(doubling_px, tolerance_mm)
    check = SeamCheck(scan.frame)
    for band in scans.bands(scan.pixels, 200):
        check.see(band)
    found = {r.name: r for r in check.readings(whole_frame(COLUMNS, ROWS))}["doubling"]
    assert found.value == pytest.approx(doubling_px, abs=0.5), found.why
