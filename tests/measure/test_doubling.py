"""Doubling against references that are not ours: an echo's autocorrelation and null, a real stereo pair."""

from __future__ import annotations

import numpy as np
import pytest
import skimage.data

from dawnproof.measure.band import Band
from dawnproof.measure.doubling import lag_products, repeat, search_up_to
from dawnproof.measure.seam_profile import profile
from dawnproof.measure.seam_strip import BLOCK_ROWS, Strip

SEARCH = search_up_to(40.0, (0.0,))


def noise(columns: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((256, columns)).astype(np.float32)


@pytest.mark.parametrize("lag", [5, 12, 31])
def test_an_echo_as_strong_as_the_picture_correlates_by_a_half_and_has_its_null(lag: int) -> None:
    """f(x) + f(x - d), as in the middle of a blend zone: autocorrelation 1/2 at d, spectral null at 1/(2 d) (the comb
    filter of signal processing)."""
    columns = 40 * lag
    field = noise(columns, lag)
    echo = (field + np.roll(field, lag, axis=1)) / np.float32(np.sqrt(2))
    straight = np.mean(echo * np.roll(echo, lag, axis=1)) / np.mean(echo**2)
    assert float(straight) == pytest.approx(0.5, abs=0.02)
    spectrum = np.mean(np.abs(np.fft.rfft(echo, axis=1)) ** 2, axis=0)
    assert float(spectrum[columns // (2 * lag)]) < 1e-6 * float(spectrum.max())
    # an echo all over the field is no stitch: the search takes the field's own mean correlation off
    products = lag_products(echo, SEARCH)[SEARCH.lags_px.index(float(lag)), lag:]
    assert abs(float(products.sum())) < 0.01 * float((echo**2).sum())


def test_a_doubled_block_stands_out_at_its_lag_and_place() -> None:
    lag, stitch = 12, 300
    field = noise(600, 3)
    doubled = np.concatenate([field[:, :stitch], field[:, stitch - lag : 600 - lag]], axis=1)
    products = lag_products(doubled, SEARCH)
    at = SEARCH.lags_px.index(float(lag))
    inside, outside = products[at, stitch : stitch + lag], products[at, stitch + lag + 5 :]
    assert float(inside.min()) > 4 * float(np.abs(outside).max())
    assert repeat(lag, 0.0, np.array([0.5, lag - 0.5, lag + 0.5])).tolist() == [1.0, 1.0, 0.0]


def test_a_real_stereo_pair_is_a_doubling_of_known_size() -> None:
    """Two cameras saw the same scene: beside the left picture's columns up to c stands the right picture, moved by s,
    so that content of disparity d is doubled by s - d. Truth: the disparities shipped with the pair (Scharstein et al.
    2014, in scikit-image)."""
    left, right, disparity = skimage.data.stereo_motorcycle()
    errors = []
    for column, moved in ((150, 48), (210, 55), (240, 55), (330, 54), (630, 34)):
        stitched = left.astype(np.uint8).copy()
        width = min(left.shape[1], right.shape[1] + moved)
        stitched[:, column:width] = right[:, column - moved : width - moved]
        strip = Strip(column - 110, min(column + 110, left.shape[1]), SEARCH, 1, keep_all=True)
        strip.see(Band(0, stitched))
        for sample in profile(strip, column, 0.0, 60.0, range(len(left))):
            near = disparity[sample.row : sample.row + BLOCK_ROWS, column - 45 : column + 1]
            near = near[np.isfinite(near) & (near > 0)]
            middle = float(np.median(near))
            level = float(np.percentile(np.abs(near - middle), 90)) <= 1.0  # one plane, so one doubling
            if sample.px is not None and level and moved - middle > 1.0:
                errors.append(abs(sample.px - (moved - middle)))
    assert len(errors) >= 4
    assert float(np.median(errors)) < 0.5
