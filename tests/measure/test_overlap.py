"""Sub-pixel places of patches, against `scipy.ndimage.fourier_shift` as truth and against
`skimage.registration.phase_cross_correlation` (Guizar-Sicairos, Thurman, Fienup 2008)."""

import numpy as np
import pytest
from scipy import ndimage
from skimage import data
from skimage.registration import phase_cross_correlation

from dawnproof.measure.overlap import NOISE_KEPT, SMOOTH_PX, Blind, noise_level, patch_shift, rough_shift, smoothed

GRAVEL = data.gravel()[:256, :256].astype(np.float32) / 255


def fourier_shifted(dx: float, dy: float) -> np.ndarray:
    """What shows at x + (dx, dy) the texture at x; periodic, so patches are taken well inside."""
    spectrum = ndimage.fourier_shift(np.fft.fft2(ndimage.gaussian_filter(GRAVEL, 0.7, mode="wrap")), (dy, dx))
    return np.fft.ifft2(spectrum).real.astype(np.float32)


def taken(image: np.ndarray, margin: int = 0) -> np.ndarray:
    return smoothed(image)[100 - margin : 164 + margin, 90 - margin : 154 + margin]


@pytest.mark.parametrize(("dx", "dy"), [(0.25, -0.5), (-2.4, 1.32), (0.33, 0.0), (5.71, -6.15), (0.0, 0.0)])
def test_pure_shift_is_found_within_a_hundredth_of_a_pixel(dx: float, dy: float) -> None:
    found = patch_shift(taken(fourier_shifted(0, 0)), taken(fourier_shifted(dx, dy), 10), 10)
    assert found is not None
    assert (found.dx_px, found.dy_px) == pytest.approx((dx, dy), abs=0.01)
    assert found.likeness > 0.999


def test_agrees_with_upsampled_phase_correlation_on_whole_images() -> None:
    shift, _, _ = phase_cross_correlation(fourier_shifted(0, 0), fourier_shifted(-2.4, 1.32), upsample_factor=100)
    found = patch_shift(taken(fourier_shifted(0, 0)), taken(fourier_shifted(-2.4, 1.32), 10), 10)
    assert found is not None
    assert (found.dy_px, found.dx_px) == pytest.approx((-shift[0], -shift[1]), abs=0.02)


def test_gain_offset_and_noise_do_not_bias() -> None:
    random = np.random.default_rng(2)
    off = []
    for _ in range(40):
        first = fourier_shifted(0, 0) + 0.005 * random.standard_normal(GRAVEL.shape).astype(np.float32)
        second = 0.85 * fourier_shifted(0.4, -0.3) + 0.07
        second = second + 0.005 * random.standard_normal(GRAVEL.shape).astype(np.float32)
        found = patch_shift(taken(first), taken(second.astype(np.float32), 8), 8)
        assert found is not None
        off.append((found.dx_px - 0.4, found.dy_px + 0.3))
    assert np.abs(np.mean(off, axis=0)).max() < 0.003
    assert np.std(off, axis=0).max() < 0.01


def test_information_tells_a_line_is_free_along_itself() -> None:
    lines = np.tile(np.sin(np.arange(96) / 3.0).astype(np.float32), (96, 1))
    lines = lines + 0.01 * np.random.default_rng(1).standard_normal(lines.shape).astype(np.float32)
    found = patch_shift(smoothed(lines)[8:-8, 8:-8], smoothed(lines), 8)
    assert found is not None
    assert found.information[0, 0] > 50 * found.information[1, 1]


def test_a_place_beyond_the_search_is_none() -> None:
    assert patch_shift(taken(fourier_shifted(0, 0)), taken(fourier_shifted(9, 0), 6), 6) is None


def test_a_flat_patch_gives_no_certainty() -> None:
    flat = np.full((64, 64), 0.5, np.float32)
    found = patch_shift(flat, np.full((76, 76), 0.5, np.float32), 6)
    assert found is None or found.information[0, 0] < 1e-6 or found.likeness == 0.0


def test_noise_level_ignores_slopes_and_texture_of_the_subject() -> None:
    y, x = np.mgrid[0:200, 0:200].astype(np.float32)
    slope = 0.2 + 0.002 * x + 0.001 * y
    noisy = slope + 0.004 * np.random.default_rng(3).standard_normal(slope.shape).astype(np.float32)
    assert noise_level(noisy.astype(np.float32)) == pytest.approx(0.004, rel=0.1)


def test_the_share_of_noise_that_smoothing_keeps() -> None:
    noise = np.random.default_rng(5).standard_normal((400, 400)).astype(np.float32)
    assert smoothed(noise).std() == pytest.approx(NOISE_KEPT, rel=0.03)
    assert SMOOTH_PX == 0.8


def test_roughly_is_within_a_third_of_a_pixel() -> None:
    found = rough_shift(taken(fourier_shifted(0, 0)), taken(fourier_shifted(-2.4, 1.32), 6), 6)
    assert found is not None
    assert (found.dx_px, found.dy_px) == pytest.approx((-2.4, 1.32), abs=0.33)


def test_where_it_is_blind_nothing_pulls() -> None:
    first, second = fourier_shifted(0, 0), fourier_shifted(0.4, -0.3)
    marks = np.zeros(first.shape, bool)
    for y, x in np.random.default_rng(4).integers(80, 165, (14, 2)):
        marks[y : y + 4, x : x + 4] = True
    given = [np.where(marks, np.float32(0.9), image) for image in (first, second)]
    wide = ndimage.binary_dilation(marks, iterations=3)
    blind = Blind(wide[100:164, 90:154], wide[94:170, 84:160])
    found = patch_shift(taken(given[0]), taken(given[1], 6), 6, blind)
    assert found is not None
    assert (found.dx_px, found.dy_px) == pytest.approx((0.4, -0.3), abs=0.02)
