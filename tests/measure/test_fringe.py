"""Channels shifted by a known share of a pixel (`scipy.ndimage.fourier_shift`) at the published limits' either side.

FADGI 2016, misregistration: 3 star < 0.50 px, 4 star < 0.33 px. A second, independent estimate comes from
scikit-image's `phase_cross_correlation` (Guizar-Sicairos, Thurman, Fienup 2008).
"""

from __future__ import annotations

import numpy as np
import pytest
import scans
import surfaces
from scipy.ndimage import fourier_shift
from skimage.registration import phase_cross_correlation

from dawnproof.measure.channel_shift import TILE_PX, tile_shifts
from dawnproof.measure.fringe import Fringe
from dawnproof.measure.outline import whole_frame
from dawnproof.model import Reading

ROWS, COLUMNS = 640, 640


def fringes(scan: scans.Scan) -> dict[str, Reading]:
    check = Fringe(scan.frame)
    for band in scans.bands(scan.pixels, 128):
        check.see(band)
    readings = check.readings(whole_frame(scan.frame.width_px, scan.frame.height_px))
    return {reading.name: reading for reading in readings}


def moved(surface: surfaces.Surface, channel: int, down: float, right: float) -> surfaces.Surface:
    changed = surface.copy()
    spectrum = fourier_shift(np.fft.fft2(surface[..., channel]), (down, right))
    changed[..., channel] = np.fft.ifft2(spectrum).real
    return np.clip(changed, 0, 1)


WORKS = {"strokes": surfaces.strokes(ROWS, COLUMNS, 41), "paper": surfaces.paper(ROWS, COLUMNS, 42)}


@pytest.mark.parametrize("work", WORKS)
@pytest.mark.parametrize("shift_px", [0.0, 0.30, 0.36, 0.6, 0.9])
def test_a_known_shift_is_measured(work: str, shift_px: float) -> None:
    surface = moved(WORKS[work], 0, shift_px * 0.6, -shift_px * 0.8)
    surface = moved(surface, 2, 0.0, shift_px)
    found = fringes(scans.make_scan(surface, None, noise=0.003, seed=1))
    for reading in found.values():
        assert reading.value == pytest.approx(shift_px, abs=0.05)
        assert reading.unit == "px"
        assert reading.certain


def test_whole_pixels_are_measured_too() -> None:
    found = fringes(scans.make_scan(moved(WORKS["strokes"], 0, 0.0, 2.3), None, seed=2))
    assert found["red_green"].value == pytest.approx(2.3, abs=0.05)
    assert found["blue_green"].value == pytest.approx(0.0, abs=0.05)


def test_a_lens_that_spreads_the_colours_outward_is_found() -> None:
    """Red 0.6 px to the left at the left end, to the right at the right end, nothing in the middle."""
    surface = surfaces.paper(ROWS, 1200, 43)
    surface[:, :400] = moved(surface, 0, 0.0, -0.6)[:, :400]
    surface[:, 800:] = moved(surface, 0, 0.0, 0.6)[:, 800:]
    assert fringes(scans.make_scan(surface, None, seed=3))["red_green"].value == pytest.approx(0.6, abs=0.06)


def test_coloured_pigment_edges_fake_nothing() -> None:
    """Discs of saturated colours on paper: edges that only one or two channels have."""
    surface = surfaces.paper(ROWS, COLUMNS, 44)
    rng = np.random.default_rng(4)
    y, x = np.mgrid[0:ROWS, 0:COLUMNS]
    for _ in range(60):
        at = rng.uniform(0, ROWS, 2)
        inside = np.hypot(y - at[0], x - at[1]) < rng.uniform(10, 40)
        surface[inside] *= rng.permutation([1.0, 0.9, 0.3]).astype(np.float32)
    for reading in fringes(scans.make_scan(surface, None, seed=4)).values():
        assert isinstance(reading.value, float)
        assert reading.value < 0.1


def test_without_common_detail_there_is_no_value() -> None:
    for reading in fringes(scans.make_scan(surfaces.wash(ROWS, COLUMNS, 45), None, seed=5)).values():
        assert reading.value is None
        assert reading.why


def test_tiles_agree_with_an_independent_estimate() -> None:
    surface = moved(WORKS["strokes"], 0, 0.33, -0.62)
    pixels = scans.code(surface)[:TILE_PX]
    left = np.arange(0, COLUMNS - TILE_PX, TILE_PX)
    window = np.outer(np.hanning(TILE_PX), np.hanning(TILE_PX))
    compared = 0
    for tile in tile_shifts(pixels, 0, left):
        if tile.channel == 0:
            part = pixels[:, tile.column : tile.column + TILE_PX].astype(float)
            red, green = ((part[..., k] - part[..., k].mean()) * window for k in (0, 1))
            # the returned shift registers the moving image onto the reference: the opposite sign
            there, *_ = phase_cross_correlation(green, red, upsample_factor=50)
            if np.hypot(there[0] + 0.33, there[1] - 0.62) < 0.3:
                assert tile.shift_px == pytest.approx((-there[0], -there[1]), abs=0.2)
                compared += 1
    assert compared >= 3
