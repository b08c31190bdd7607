"""Registration from a rough place to a hundredth of a pixel, on cuts whose places are known."""

import numpy as np
import parts as made
import pytest
from bench.join_scene import ArraySource

from dawnproof.assemble.parts import JoinPart
from dawnproof.assemble.register import levels_from, prove, refine
from dawnproof.assemble.view import View


def views(angle_deg: float, shift: tuple[float, float] = (0.4, -0.3)) -> tuple[View, View, np.ndarray]:
    """Left and right half, and the true map from the first to the second."""
    left, right = made.halves(110, angle_deg, shift)
    first, second = (View(JoinPart(n, n, made.scanned(h, i), made.PPI)) for i, (n, h) in
                     enumerate((("L", left), ("R", right)), 1))  # fmt: skip
    back = np.linalg.inv(np.vstack([made.true_matrix(left, right), [0, 0, 1]]))[:2]
    return first, second, back


def moved(matrix: np.ndarray, x: float, y: float) -> np.ndarray:
    found = matrix.copy()
    found[:, 2] += (x, y)
    return found


@pytest.mark.parametrize("angle", [0.0, 1.2, -2.7])
def test_a_rough_place_becomes_the_place_within_three_hundredths_of_a_pixel(angle: float) -> None:
    first, second, true = views(angle)
    rough = prove(first, second, moved(true, 3.0, -2.5), 1)
    assert rough is not None
    fit = refine(first, second, rough, 1)
    assert fit is not None
    places = fit.matches.first
    apart = places @ (fit.matrix[:, :2] - true[:, :2]).T + fit.matrix[:, 2] - true[:, 2]
    assert np.linalg.norm(apart, axis=1).max() < 0.03
    assert fit.rotation_deg == pytest.approx(angle, abs=0.01)
    assert fit.scale_percent == pytest.approx(0.0, abs=0.02)
    assert fit.adrift_share == 0.0
    assert fit.across_px == pytest.approx(110, abs=12)


@pytest.mark.parametrize("wrong", [(40.0, 0.0), (0.0, 55.0), (-60.0, -30.0)])
def test_a_wrong_place_is_not_proved(wrong: tuple[float, float]) -> None:
    first, second, true = views(0.5)
    assert prove(first, second, moved(true, *wrong), 1) is None


def test_noise_is_not_proved_anywhere() -> None:
    random = np.random.default_rng(9)
    first, second = (
        View(JoinPart(n, n, ArraySource(random.integers(9000, 60000, (300, 300, 3), np.uint16)), 300.0)) for n in "LR"
    )
    assert prove(first, second, np.array([[1.0, 0, -200], [0, 1, 0]]), 1) is None


@pytest.mark.parametrize(("factor", "levels"), [(1, [1]), (2, [2, 1]), (4, [4, 1]), (12, [12, 3, 1]), (20, [20, 5, 1])])
def test_levels_go_down_by_four_or_less(factor: int, levels: list[int]) -> None:
    assert list(levels_from(factor)) == levels
