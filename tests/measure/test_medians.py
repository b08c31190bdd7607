"""Medians by sorting, held against numpy's own."""

from __future__ import annotations

import numpy as np
import pytest

from dawnproof.measure.medians import known_medians, medians


@pytest.mark.parametrize("count", [1, 2, 3, 24, 25, 64])
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_equal_to_numpys_median(count: int, axis: int) -> None:
    shape = [5, 6, 7]
    shape[axis] = count
    values = np.random.default_rng(count).normal(size=shape).astype(np.float32)
    assert np.array_equal(medians(values, axis), np.median(values, axis=axis))


def test_equal_to_numpys_median_of_the_known() -> None:
    values = np.random.default_rng(3).normal(size=(200, 9))
    values[np.random.default_rng(4).random(values.shape) < 0.4] = np.nan
    values[0] = np.nan
    values[1] = 1.0
    some = np.isfinite(values).any(axis=1)
    found = known_medians(values)
    assert np.array_equal(found[some], np.nanmedian(values[some], axis=1))
    assert np.isnan(found[~some]).all()
