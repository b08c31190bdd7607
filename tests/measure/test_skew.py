"""The skew of a work from its sides, and what torn sides leave open of it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from dawnproof.measure.edges import Side
from dawnproof.measure.line_fit import robust_line
from dawnproof.measure.skew import Skew, skew_of

Floats = npt.NDArray[np.float64]
LENGTHS = (320.0, 450.0, 320.0, 450.0)  # of the sides, pixels of the overview


def side(length: float, slope: float, off: Floats) -> Side:
    """A side that leans by `slope` against the searched rectangle, its places off the line by these pixels."""
    along = np.linspace(-length / 2, length / 2, len(off))
    depth = 2.0 + slope * along + off
    offset, fitted, spread = robust_line(along, depth)
    return Side(offset, fitted, along, depth, 1.0, spread)


def waves(random: np.random.Generator, length: float, px: float) -> Floats:
    """A torn edge: noise in waves of 25 pixels and longer, of so much deviation."""
    smooth = np.convolve(random.normal(0, 1, int(length) + 80), np.hanning(50), "same")[40:-40]
    return np.asarray(px * smooth / smooth.std(), np.float64)


def test_cut_sides_tell_the_skew_and_that_they_do() -> None:
    random = np.random.default_rng(3)
    turned = np.radians(0.4)
    sides = [side(length, np.tan(turned - np.radians(1.3)), random.normal(0, 0.2, int(length))) for length in LENGTHS]
    skew = skew_of(float(turned), sides)
    assert skew is not None
    assert skew.deg == pytest.approx(1.3, abs=0.02)
    assert skew.sure > 0.95


@pytest.mark.parametrize(("px", "least", "most"), [(0.5, 0.6, 1.0), (2.0, 0.05, 0.6)])
def test_torn_sides_say_how_much_they_leave_open(px: float, least: float, most: float) -> None:
    """Of many works the errors are as large as is said, neither more (a false promise) nor much less."""
    random = np.random.default_rng(7)
    works = [skew_of(0.0, [side(n, 0.0, waves(random, n, px)) for n in LENGTHS]) for _ in range(120)]
    found = np.array([(work.deg, work.error_deg, work.sure) for work in works if work is not None])
    assert len(found) == 120
    assert np.mean(np.abs(found[:, 0]) <= 2 * found[:, 1]) > 0.8
    assert 0.6 < np.sqrt(np.mean((found[:, 0] / found[:, 1]) ** 2)) < 1.4
    right = np.abs(found[:, 0]) <= 0.05
    assert abs(right.mean() - found[:, 2].mean()) < 0.15, "the certainty told is the share that is right"
    assert least < found[:, 2].mean() < most


def test_a_side_that_disagrees_is_heard() -> None:
    random = np.random.default_rng(5)
    off = [random.normal(0, 0.2, int(length)) for length in LENGTHS]
    alike = skew_of(0.0, [side(n, 0.0, o) for n, o in zip(LENGTHS, off, strict=True)])
    torn = skew_of(0.0, [side(n, lean, o) for n, lean, o in zip(LENGTHS, (0.0, 0.0, 0.01, 0.0), off, strict=True)])
    assert alike is not None
    assert torn is not None
    assert torn.error_deg > 3 * alike.error_deg
    assert torn.sure < 0.9 < alike.sure


def test_sides_that_run_out_of_the_frame_do_not_count() -> None:
    random = np.random.default_rng(6)
    alone = side(450.0, np.tan(np.radians(-0.7)), random.normal(0, 0.2, 450))
    skew = skew_of(0.0, (None, alone, None, None))
    assert skew is not None
    assert skew.deg == pytest.approx(0.7, abs=0.02)
    assert skew_of(0.3, (None, None, None, None)) is None


def test_certainty_is_the_chance_to_lie_within_the_tolerance() -> None:
    assert Skew(1.0, 0.05).sure == pytest.approx(0.683, abs=0.001)
    assert Skew(1.0, 0.025).sure == pytest.approx(0.954, abs=0.001)
