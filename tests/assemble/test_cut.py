"""Paths of least difference, and strips they must leave to the other part."""

from itertools import pairwise

import numpy as np
import pytest

from dawnproof.assemble.cut import at, cut_between, difference, field_over, ramp, to_full, upright_path

ROWS, COLUMNS = 60, 40
EVERYWHERE = np.ones((ROWS, COLUMNS), bool)
NOWHERE = np.zeros((ROWS, COLUMNS), np.float32)


def test_the_path_follows_a_valley() -> None:
    valley = 20 + np.rint(8 * np.sin(np.arange(ROWS) / 12)).astype(int)
    cost = np.ones((ROWS, COLUMNS), np.float32)
    cost[np.arange(ROWS), valley] = 0
    assert np.array_equal(upright_path(cost, EVERYWHERE, NOWHERE, NOWHERE), valley)


def test_the_path_is_the_least_of_all() -> None:
    """Against plain enumeration of every path of a small field (dynamic programming is exact)."""
    cost = np.random.default_rng(2).random((5, 4)).astype(np.float32)
    best = min(
        (sum(cost[r, c] for r, c in enumerate(path)), path)
        for path in np.ndindex(4, 4, 4, 4, 4)
        if all(abs(a - b) <= 1 for a, b in pairwise(path))
    )
    found = upright_path(cost, np.ones((5, 4), bool), np.zeros((5, 4), np.float32), np.zeros((5, 4), np.float32))
    assert tuple(found.astype(int)) == best[1]


@pytest.mark.parametrize("barred_first", [True, False])
def test_a_barred_strip_is_left_to_the_other_part(barred_first: bool) -> None:
    cost = np.random.default_rng(4).random((ROWS, COLUMNS)).astype(np.float32)
    strip = NOWHERE.copy()
    strip[:, 15:25] = 1
    path = upright_path(cost, EVERYWHERE, strip if barred_first else NOWHERE, NOWHERE if barred_first else strip)
    if barred_first:
        assert path.max() <= 15  # what lies left of the path is the first part
    else:
        assert path.min() >= 24


def test_the_path_stays_where_both_parts_are() -> None:
    both = EVERYWHERE.copy()
    both[:30, :20] = False
    both[30:, 30:] = False
    path = upright_path(np.zeros((ROWS, COLUMNS), np.float32), both, NOWHERE, NOWHERE)
    assert both[np.arange(ROWS), path.astype(int)].all()


def test_field_is_coarse_enough_and_inside() -> None:
    field = field_over(100, 50, 9100, 8050)
    assert field is not None
    assert len(field.rows) * len(field.columns) <= 2_100_000
    assert field.columns[0] >= 100
    assert field.columns[-1] <= 9100
    assert field_over(10, 10, 11, 400) is None


def test_coarse_path_comes_back_in_full_pixels() -> None:
    first, path = to_full(np.array([2, 2, 3], np.float32), np.array([11.0, 15, 19, 23]), np.array([101.0, 105, 109]))
    assert first == 101
    assert path[0] == pytest.approx(18.5)
    assert path[-1] == pytest.approx(22.5)
    assert len(path) == 9


def test_level_cut_between_two_flat_halves_avoids_a_difference() -> None:
    field = field_over(0, 0, 80, 60)
    assert field is not None
    first = np.full((*field.shape, 3), 0.5, np.float32)
    second = first.copy()
    second[10:, :] += 0.1
    has, barred = np.ones(field.shape, bool), np.zeros(field.shape, np.float32)
    _, path = cut_between(field, lambda _: (first, has, barred), lambda _: (second, has, barred), upright=False)
    assert path.max() < 11


def test_difference_sees_what_is_not_common() -> None:
    first = np.random.default_rng(1).random((40, 40, 3)).astype(np.float32)
    second = first.copy()
    second[20:25, 20:25] += 0.5
    found = difference(first, second)
    assert found[22, 22] > 3 * found[5, 5]


def test_ramp_and_line() -> None:
    assert ramp(np.array([-9.0, -3, 0, 3, 9]), 3.0).tolist() == [0, 0, 0.5, 1, 1]
    assert at(10, [5.0, 6.0], np.array([0.0, 10.5, 99])).tolist() == [5.0, 5.5, 6.0]
