"""A shim scan gives back the stitch it was made with."""

from __future__ import annotations

import pytest
import scans
import surfaces

from dawnproof.measure.shim import fit_shim

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
