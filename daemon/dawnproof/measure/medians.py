"""Medians of many short rows at once: a whole sort of each, in vectors, is several times faster than a selection."""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

Real = TypeVar("Real", bound=np.floating[Any])


def medians(values: npt.NDArray[Real], axis: int) -> npt.NDArray[Real]:
    """`numpy.median` along one axis of numbers without NaN."""
    ordered = np.sort(values, axis=axis)
    count = values.shape[axis]
    low, high = (np.take(ordered, index, axis=axis) for index in ((count - 1) // 2, count // 2))
    return np.asarray(low if count % 2 else (low + high) / 2, values.dtype)


def known_medians(rows: npt.NDArray[Real]) -> npt.NDArray[Real]:
    """`numpy.nanmedian` of each row of (rows, values); NaN where a row has no number."""
    ordered = np.sort(rows, axis=1)  # NaNs last
    count = np.isfinite(rows).sum(axis=1)
    line = np.arange(len(rows))
    low, high = ordered[line, np.maximum(count - 1, 0) // 2], ordered[line, count // 2 % rows.shape[1]]
    middle = np.where(count % 2 == 1, low, (low + high) / 2)
    return np.asarray(np.where(count > 0, middle, np.nan), rows.dtype)
