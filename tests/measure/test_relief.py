"""Light from the same side, from the other side, and no relief at all."""

import cv2
import numpy as np
import pytest
from skimage import data

from dawnproof.measure.relief import relief_likeness

RANDOM = np.random.default_rng(7)
SIZE = 64
GRAIN = cv2.GaussianBlur(data.gravel().astype(np.float32) / 255, (0, 0), 0.8)
SLOPE_Y, SLOPE_X = np.gradient(GRAIN)


def pigment(strength: float) -> np.ndarray:
    """Coloured drawing: one field of spots a channel."""
    fields = [cv2.GaussianBlur(RANDOM.standard_normal((512, 512)).astype(np.float32), (0, 0), 2.0) for _ in range(3)]
    return 0.5 + strength * np.stack([f / f.std() for f in fields], axis=2)


def patches(first: np.ndarray, second: np.ndarray, noise: float = 0.003) -> list:  # type: ignore[type-arg]
    seen = [(image + noise * RANDOM.standard_normal(image.shape)).astype(np.float32) for image in (first, second)]
    corners = [(y, x) for y in range(0, 448, SIZE) for x in range(0, 448, SIZE)]
    return [tuple(image[y : y + SIZE, x : x + SIZE] for image in seen) for y, x in corners]


def lit(base: np.ndarray, slope: np.ndarray, depth: float = 0.05) -> np.ndarray:
    return np.asarray(base * (1 + depth / slope.std() * slope)[:, :, None])


def test_same_light_is_near_one() -> None:
    base = pigment(0.02)
    found = relief_likeness(patches(lit(base, SLOPE_Y), lit(base, SLOPE_Y)))
    assert found.likeness == pytest.approx(1.0, abs=0.05)
    assert found.differing < 0.01


def test_light_from_the_other_side_is_negative() -> None:
    base = pigment(0.02)
    found = relief_likeness(patches(lit(base, SLOPE_Y), lit(base, -SLOPE_Y)))
    assert found.likeness is not None
    assert found.likeness < -0.7
    assert found.differing > 1.0


def test_light_from_across_is_near_nought() -> None:
    base = pigment(0.01)
    found = relief_likeness(patches(lit(base, SLOPE_Y), lit(base, SLOPE_X)))
    assert found.likeness is not None
    assert abs(found.likeness) < 0.35


def test_strong_grey_pigment_hides_the_sign_but_not_the_difference() -> None:
    spots = cv2.GaussianBlur(RANDOM.standard_normal((512, 512)).astype(np.float32), (0, 0), 1.2)
    base = np.repeat((0.5 + 0.08 * spots / spots.std())[:, :, None], 3, axis=2)
    alike = relief_likeness(patches(lit(base, SLOPE_Y), lit(base, SLOPE_Y)))
    turned = relief_likeness(patches(lit(base, SLOPE_Y), lit(base, -SLOPE_Y)))
    assert turned.likeness is not None
    assert turned.likeness > 0
    assert turned.differing > 0.1 > 5 * alike.differing


def test_noise_alone_is_no_relief() -> None:
    blank = np.full((512, 512, 3), 0.8, np.float32)
    assert relief_likeness(patches(blank, blank)).likeness is None


def test_grey_scans_are_judged_too() -> None:
    base = pigment(0.02).mean(axis=2, keepdims=True)
    found = relief_likeness(patches(lit(base, SLOPE_Y), lit(base, -SLOPE_Y)))
    assert found.likeness is not None
    assert found.likeness < -0.5


def test_too_few_patches_say_nothing() -> None:
    base = pigment(0.02)
    assert relief_likeness(patches(lit(base, SLOPE_Y), lit(base, SLOPE_Y))[:3]).likeness is None
