"""A shim scan gives back the stitch it was made with."""

from __future__ import annotations

import pytest
import scans
import surfaces

from dawnproof.measure.doubling import search_up_to
from dawnproof.measure.seam_search import around
from dawnproof.measure.seam_strip import whole_width
from dawnproof.measure.shim import BLENDS_PX, MOST_PX, fit_shim

ROWS, COLUMNS, STITCH, PPI, PARALLAX = 640, 1200, 611, 600.0, 0.5


@pytest.mark.parametrize(("shim_mm", "blend_px"), [(1.05, 0.0), (1.05, 30.0), (0.45, 10.0)])
def test_place_blend_and_parallax(shim_mm: float, blend_px: float) -> None:
    left, right = scans.cameras(3)
    doubling_px = shim_mm * PARALLAX * PPI / 25.4
    stitch = scans.Stitch(STITCH, doubling_px, blend_px, 0.0, 0.5, left, right)
    scan = scans.make_scan(surfaces.paper(ROWS, COLUMNS, 4, tooth=0.02), None, stitch, ppi=PPI)
    fit = fit_shim(scan.pixels, PPI, shim_mm)
    assert fit.why == ""
    assert abs(fit.column - STITCH) <= 2
    assert fit.blend_px == pytest.approx(blend_px, abs=5.0)
    assert fit.parallax == pytest.approx(PARALLAX, rel=0.03)


def test_a_sheet_that_is_not_lifted_calibrates_nothing() -> None:
    scan = scans.make_scan(surfaces.paper(ROWS, COLUMNS, 4, tooth=0.02), None, scans.Stitch(STITCH), ppi=PPI)
    assert "no stitch stands out" in fit_shim(scan.pixels, PPI, 1.0).why


def test_a_sheet_that_lies_unevenly_is_refused() -> None:
    stitch = scans.Stitch(STITCH, scans.wavy(ROWS, 12.0, 2.5, 2))
    scan = scans.make_scan(surfaces.paper(ROWS, COLUMNS, 4, tooth=0.02), None, stitch, ppi=PPI)
    assert "evenly" in fit_shim(scan.pixels, PPI, 1.0).why


def test_a_stitch_at_the_edge_of_two_strips_is_measured() -> None:
    """The whole width is looked at in strips; a stitch where one's judged columns end is found like any other."""
    size, search = 512, search_up_to(MOST_PX, BLENDS_PX)
    stitch = whole_width(COLUMNS, search, 1, size)[0].columns.stop
    left, right = scans.cameras(3)
    made = scans.Stitch(stitch, 12.4, 0.0, 0.0, 0.5, left, right)
    scan = scans.make_scan(surfaces.paper(ROWS, COLUMNS, 4, tooth=0.02), None, made, ppi=PPI)
    fit = fit_shim(scan.pixels, PPI, 1.05)
    assert fit.why == ""
    assert abs(fit.column - stitch) <= 2
    assert fit.parallax == pytest.approx(PARALLAX, rel=0.03)


def test_a_column_outside_what_every_strip_judges_has_a_strip_all_the_same() -> None:
    strips = whole_width(COLUMNS, search_up_to(MOST_PX, BLENDS_PX), 1)
    outside = strips[0].columns.start - 3
    assert not any(outside in strip.columns for strip in strips)
    assert around(strips, outside) is strips[0]
