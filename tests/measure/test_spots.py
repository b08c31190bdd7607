"""Specks on lid and blank paper are kept as marks with place, size and strength; texture gives none."""

from __future__ import annotations

import numpy as np
import pytest
import scans
import surfaces

from dawnproof.measure.band import Pixels
from dawnproof.measure.outline import whole_frame
from dawnproof.measure.spots import Spots
from dawnproof.model import Mark

ROWS, COLUMNS = 600, 500
MM = 25.4 / 400


def spots(pixels: Pixels) -> tuple[Mark, ...]:
    check = Spots(scans.frame_of(pixels, 400.0, scans.bed_of(pixels, 400.0)))
    for band in scans.bands(pixels, 200):
        check.see(band)
    assert tuple(check.readings(whole_frame(pixels.shape[1], pixels.shape[0]))) == ()
    return check.marks()


def with_speck(pixels: Pixels, row: int, column: int, size: int, share: float) -> Pixels:
    changed = pixels.astype(np.float64)
    changed[row : row + size, column : column + size] *= 1 + share
    return np.rint(np.clip(changed, 0, 65535)).astype(np.uint16)


def test_a_speck_on_blank_paper_is_a_mark() -> None:
    pixels = scans.make_scan(surfaces.paper(ROWS, COLUMNS, 71, tooth=0.002), None, seed=1).pixels
    assert spots(pixels) == ()
    (mark,) = spots(with_speck(pixels, 290, 333, 8, -0.2))
    assert mark.kind == "spot"
    assert mark.x_mm == pytest.approx(337 * MM, abs=0.15)
    assert mark.y_mm == pytest.approx(294 * MM, abs=0.15)
    assert mark.size_mm == pytest.approx(8 * MM, abs=0.3)
    assert mark.strength == pytest.approx(-20, abs=3)


def test_a_speck_on_the_lid_beside_a_busy_work() -> None:
    scan = scans.make_scan(surfaces.strokes(ROWS, COLUMNS, 72), scans.Lid(margins_px=(100, 100, 100, 100)), seed=2)
    found = spots(with_speck(scan.pixels, 300, 30, 6, -0.3))
    assert any(abs(m.x_mm - 33 * MM) < 0.15 and abs((m.y_mm or 0) - 303 * MM) < 0.15 for m in found)


def test_a_large_shape_is_no_spot() -> None:
    pixels = scans.make_scan(surfaces.paper(ROWS, COLUMNS, 73, tooth=0.002), None, seed=3).pixels
    assert spots(with_speck(pixels, 200, 200, 80, -0.2)) == ()
