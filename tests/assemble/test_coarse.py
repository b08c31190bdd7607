"""Rough places: features (Lowe 2004) and phase correlation (Kuglin and Hines 1975) against known cuts of a scene."""

import numpy as np
import parts as made
import pytest
from scipy import ndimage

from dawnproof.assemble.coarse import bed_marks, correlation_candidates, feature_candidates, features, normalised
from dawnproof.assemble.view import Grey

Matrix = np.ndarray


def grey(angle_deg: float = 0.0, shift: tuple[float, float] = (0.0, 0.0)) -> tuple[Grey, Grey, Matrix]:
    """Left and right half as normalised grey, and the true map from the first to the second."""
    left, right = made.halves(150, angle_deg, shift)
    first, second = (made.scanned(h, i).pixels.mean(axis=2) / 65535 for i, h in enumerate((left, right), 1))
    back = np.linalg.inv(np.vstack([made.true_matrix(left, right), [0, 0, 1]]))[:2]
    return normalised(first.astype(np.float32)), normalised(second.astype(np.float32)), back


def worst(found: Matrix, true: Matrix) -> float:
    """px, largest over places of the overlap in the first picture."""
    places = np.array([[x, y] for x in (260.0, 380.0) for y in (20.0, 380.0)])
    apart = places @ (found[:, :2] - true[:, :2]).T + found[:, 2] - true[:, 2]
    return float(np.linalg.norm(apart, axis=1).max())


@pytest.mark.parametrize("angle", [0.0, 2.5, -4.0])
def test_features_find_the_place_within_a_pixel_and_a_half(angle: float) -> None:
    first, second, true = grey(angle)
    best = next(iter(feature_candidates(features(first), features(second))))
    assert worst(best.matrix, true) < 1.5


def test_phase_correlation_finds_the_place_at_the_angle_it_tries() -> None:
    first, second, true = grey(1.5, (0.0, 0.0))
    best = next(correlation_candidates(first, second, np.arange(-3.0, 3.1, 0.5)))
    assert worst(best.matrix, true) < 6.0


def test_a_whole_shift_is_found_to_the_pixel() -> None:
    first, second, true = grey()
    best = next(correlation_candidates(first, second, np.array([0.0])))
    assert np.array_equal(np.rint(best.matrix), np.rint(true))


def test_normalising_takes_exposure_streaks_and_flat_noise_away() -> None:
    random = np.random.default_rng(1)
    plain = ndimage.gaussian_filter(random.standard_normal((200, 260)), 2).astype(np.float32)
    plain = np.asarray(0.5 + 0.1 * plain / plain.std(), np.float32)
    streaked = 0.6 * plain + 0.1
    streaked[:, 40] += 0.05
    ours, theirs = normalised(plain), normalised(streaked.astype(np.float32))
    assert np.corrcoef(ours.ravel(), theirs.ravel())[0, 1] > 0.97
    flat = np.asarray(0.5 + 1e-5 * random.standard_normal((200, 260)), np.float32)
    assert np.abs(normalised(flat)).mean() < 0.1


def test_marks_of_the_bed_are_found_and_texture_is_not() -> None:
    random = np.random.default_rng(6)
    images = [0.5 + 0.1 * ndimage.gaussian_filter(random.standard_normal((300, 300)), 1.5) for _ in range(2)]
    for y, x in [(100, 200), *random.integers(10, 280, (30, 2))]:
        for image in images:
            image[y : y + 6, x : x + 6] = 0.1
    marks = bed_marks(*(normalised(i.astype(np.float32)) for i in images))
    assert marks is not None
    assert marks[103, 203]
    assert marks.mean() < 0.2
    assert bed_marks(normalised(images[0].astype(np.float32)), np.zeros((10, 10), np.float32)) is None


def test_specks_of_two_pixels_are_found_too() -> None:
    random = np.random.default_rng(7)
    images = [0.5 + 0.1 * ndimage.gaussian_filter(random.standard_normal((400, 400)), 1.0) for _ in range(2)]
    spots = random.integers(10, 380, (100, 2))
    for image in images:
        for y, x in spots:
            image[y : y + 2, x : x + 2] *= 0.2
    marks = bed_marks(*(normalised(i.astype(np.float32)) for i in images))
    assert marks is not None
    assert np.mean([marks[y : y + 2, x : x + 2].any() for y, x in spots]) > 0.95
    assert marks.mean() < 0.1


def test_a_blank_sheet_has_no_features() -> None:
    assert len(features(np.zeros((120, 120), np.float32)).points) == 0
