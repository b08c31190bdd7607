"""Joins against references that share no code with them: upsampled phase correlation (Guizar-Sicairos, Thurman, Fienup
2008), a Fourier shift as truth, structural similarity (Wang, Bovik, Sheikh, Simoncelli 2004), and the published
homography of the affine-region test set (Mikolajczyk and others 2005) as a check against gross errors."""

from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import cv2
import numpy as np
import parts as made
import pytest
from bench.join_scene import ArraySource, laid, scan
from scipy import ndimage
from skimage.metrics import structural_similarity
from skimage.registration import phase_cross_correlation

from dawnproof.assemble.join import plan_join, render

PUBLISHED = Path(__file__).parents[3] / "shared/testdata/registration"
OVERLAP, WIDE = 90, 330


def shifted_scene(dx: float, dy: float) -> tuple[np.ndarray, np.ndarray]:
    """The scene, and the scene after a Fourier shift, which is periodic and exact."""
    lit = ndimage.gaussian_filter(made.scene().lit(), (0.7, 0.7, 0), mode="wrap")
    planes = [np.fft.ifft2(ndimage.fourier_shift(np.fft.fft2(lit[:, :, c]), (dy, dx))).real for c in range(3)]
    return lit, np.stack(planes, axis=2)


def halves_of(lit: np.ndarray, moved: np.ndarray) -> list[np.ndarray]:
    start = WIDE - OVERLAP + 20
    random = np.random.default_rng(3)
    cuts = [lit[30:420, 20 : 20 + WIDE], moved[30:420, start : start + WIDE]]
    return [np.rint(np.clip(c + 0.001 * random.standard_normal(c.shape), 0, 1) * 65535).astype(np.uint16) for c in cuts]


def placed(images: list[np.ndarray]) -> np.ndarray:
    """How far right and down of its own place in the second half the middle of the overlap lies in the first, px."""
    plan = plan_join(made.pair(ArraySource(images[0]), ArraySource(images[1])))
    middle = np.array([OVERLAP / 2, images[1].shape[0] / 2])
    first, second = (plan.parts[i].matrix for i in (0, 1))
    return np.asarray(second[:, :2] @ middle + second[:, 2] - first[:, 2] - middle)


@pytest.mark.parametrize(("dx", "dy"), [(0.31, -0.47), (-1.75, 2.2)])
def test_pure_shifts_are_those_of_the_fourier_shift_and_of_phase_correlation(dx: float, dy: float) -> None:
    lit, moved = shifted_scene(dx, dy)
    found = placed(halves_of(lit, moved)) - [WIDE - OVERLAP, 0]
    assert found == pytest.approx((-dx, -dy), abs=0.03)
    measure: Any = phase_cross_correlation
    down, right = measure(lit.mean(axis=2), moved.mean(axis=2), upsample_factor=100)[0]
    assert found == pytest.approx((right, down), abs=0.04)


def test_the_joined_image_is_the_scene_by_structural_similarity() -> None:
    left, right = made.halves(70, 1.2, (0.4, -1.3))
    parts = made.pair(made.scanned(left, noise=0.001), made.scanned(right, 2, noise=0.001, gain=1.05))
    plan = plan_join(parts)
    joined = np.concatenate(list(render(plan, parts))).astype(np.float32) / 65535
    shift = plan.parts[0].matrix[:, 2]
    frame = laid((0, 0), (plan.height, plan.width))
    frame = type(frame)(np.column_stack([np.eye(2), left.matrix[:, 2] - shift]), plan.height, plan.width)
    truth = scan(made.scene().lit(), frame, np.random.default_rng(0)).astype(np.float32) / 65535
    _, likeness = structural_similarity(truth, joined, channel_axis=2, data_range=1.0, full=True)
    inner = likeness[40:-60, 10:-40].mean(axis=2)
    cut = int(np.median(plan.cuts[0].path))
    at_cut = inner[:, cut - 30 : cut + 10]
    assert inner.mean() > 0.985
    assert at_cut.mean() > inner.mean() - 0.005


@pytest.mark.skipif(not PUBLISHED.is_dir(), reason="no pictures with a published homography beside the checkout")
def test_two_photographs_of_one_wall_are_laid_as_published() -> None:
    """Taken from two places under the open sky; the second is brought into the frame of the first by the published
    map, by other code, and moved by a known shift."""
    numbers = ElementTree.parse(PUBLISHED / "H1to3p.xml").findtext(".//data")
    assert numbers is not None
    there = np.array(numbers.split(), dtype=np.float64).reshape(3, 3)
    pictures = [np.asarray(cv2.imread(str(PUBLISHED / f"graf{n}.png")))[:, :, ::-1] for n in (1, 3)]
    top, left, rows, columns = 180, 300, 330, 260
    shift = np.array([-4.0, 6.0])
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float64)
    at = np.stack([x + left - shift[0], y + top - shift[1], np.ones_like(x)])
    seen = np.einsum("ij,jrc->irc", there, at)
    places = [seen[1] / seen[2], seen[0] / seen[2]]
    second = np.stack([ndimage.map_coordinates(pictures[1][:, :, c], places, order=1) for c in range(3)], axis=2)
    first = pictures[0][top : top + rows, 120 : 120 + columns]
    found = placed([np.ascontiguousarray(p, dtype=np.uint16) * 257 for p in (first, second)])
    assert found == pytest.approx((left - 120 - shift[0], -shift[1]), abs=3.0)
