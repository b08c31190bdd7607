"""Grounds have the periods they are named for, and noise has the spread it promises."""

import cv2
import numpy as np
import pytest

from dawnproof.rehearsal.surfaces import cold_pressed, fibres, laid, noise, weave

PX_MM = 400 / 25.4
SHAPE = (480, 640)


@pytest.mark.parametrize("size_px", [1.0, 3.0, 11.0, 80.0])
def test_noise_has_unit_spread_and_the_wanted_size(size_px: float) -> None:
    field = noise((800, 800), size_px, np.random.default_rng(1))
    assert field.shape == (800, 800)
    assert float(field.std()) == pytest.approx(1.0, abs=0.08)
    if size_px > 1:
        step = round(size_px * 3)
        near = float(np.mean(field[:, :-1] * field[:, 1:]))
        far = float(np.mean(field[:, :-step] * field[:, step:]))
        assert near > 0.6 > 0.3 > abs(far)


def test_weave_repeats_at_its_pitch_both_ways() -> None:
    heights = weave(SHAPE, PX_MM, np.random.default_rng(2), pitch_mm=0.78)
    for along in (0, 1):
        assert _strongest_period_mm(heights, along) == pytest.approx(0.78, rel=0.12)


def test_laid_lines_run_across_the_sheet() -> None:
    heights = laid(SHAPE, PX_MM, np.random.default_rng(3))
    assert _strongest_period_mm(heights, 0) == pytest.approx(0.9, rel=0.1)
    down, across = (float(np.std(np.diff(heights, axis=axis))) for axis in (0, 1))
    assert down > across


def test_papers_are_flatter_than_canvas() -> None:
    rng = np.random.default_rng(4)
    paper, canvas = cold_pressed(SHAPE, PX_MM, rng), weave(SHAPE, PX_MM, rng)
    assert 0.005 < float(paper.std()) < 0.03 < float(np.ptp(canvas))


def test_fine_noise_carries_no_trace_of_enlargement() -> None:
    """Gallagher 2005 ('Detection of linear and cubic interpolation in JPEG compressed images'): enlarging leaves a
    periodic strength of the second difference. White noise enlarged 1.6 times shows it, the noise used here does not.
    """
    rng = np.random.default_rng(6)
    enlarged = cv2.resize(noise((500, 500), 1.0, rng), (800, 800), interpolation=cv2.INTER_CUBIC)
    assert _strongest_period_share(enlarged) > 50
    for size_px in (1.6, 2.4, 4.7, 9.8):
        assert _strongest_period_share(noise((800, 800), size_px, rng)) < 15, size_px


def test_the_same_seed_gives_the_same_ground() -> None:
    first, second = (fibres(SHAPE, PX_MM, np.random.default_rng(5)) for _ in range(2))
    assert np.array_equal(first, second)


def _strongest_period_mm(heights: np.ndarray, axis: int) -> float:
    """Period of the strongest component between 0.4 and 1.2 mm, by the mean power spectrum along one axis."""
    levelled = heights - heights.mean(axis=axis, keepdims=True)
    power = np.mean(np.abs(np.fft.rfft(levelled, axis=axis)) ** 2, axis=1 - axis)
    period_mm = heights.shape[axis] / PX_MM / np.maximum(np.arange(power.size), 1e-9)
    power[(period_mm < 0.4) | (period_mm > 1.2)] = 0
    return float(period_mm[int(np.argmax(power))])


def _strongest_period_share(field: np.ndarray) -> float:
    """The largest spectral line of the mean second difference's course over the columns, in medians of all lines of
    periods below 5 px."""
    strength = np.abs(np.diff(field, n=2, axis=1)).mean(axis=0)
    lines = np.abs(np.fft.rfft(strength - strength.mean()))[field.shape[1] // 5 :]
    return float(lines.max() / np.median(lines))
