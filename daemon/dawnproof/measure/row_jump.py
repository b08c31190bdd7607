"""How far one row of a scan lies sideways of the row before it: normalised correlation over a range of lags, in
several chunks of the width that must agree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .band import Pixels

CHUNKS = 12
LEAST_CHUNK_PX = 96
FARTHEST_PX = 40
LEAST_CORRELATION = 0.5
LEAST_GAIN = 0.02  # by which the best lag must beat no shift at all
AGREE_WITHIN_PX = 0.6
LEAST_AGREEING = 0.7


@dataclass(frozen=True, slots=True)
class Jump:
    """From `row` on the scan lies `shift_px` to the right of what comes before (negative: left); `chunks` of the
    width could be compared, a share `sure` of them agree."""

    row: int
    shift_px: float
    chunks: int
    sure: float


def jump_between(before: Pixels, after: Pixels, row: int, usual_px: float) -> Jump | None:
    """The jump from row `before` to row `after`, beyond the displacement `usual_px` that rows have there anyway.

    None when too little of the width can be compared, or the chunks disagree.
    """
    count = max(2, min(CHUNKS, len(before) // LEAST_CHUNK_PX))
    size = len(before) // count
    if size < 32:
        return None
    reach = min(FARTHEST_PX, size // 3)
    lags = [_lag(before[k * size : (k + 1) * size], after[k * size : (k + 1) * size], reach) for k in range(count)]
    told = np.array([lag for lag in lags if lag is not None])
    if len(told) < max(2, count // 3):
        return None
    middle = float(np.median(told))
    agreeing = np.abs(told - middle) <= AGREE_WITHIN_PX
    if agreeing.mean() < LEAST_AGREEING:
        return None
    shift = float(np.median(told[agreeing])) - usual_px
    return Jump(row, shift, len(told), round(float(agreeing.mean()), 3))


def _lag(before: Pixels, after: Pixels, reach: int) -> float | None:
    """Sub-pixel lag of the best normalised correlation; None where nothing tells."""
    a, b = before.astype(np.float64), after.astype(np.float64)
    inner = a[reach : len(a) - reach]
    inner = inner - inner.mean()
    windows = np.lib.stride_tricks.sliding_window_view(b, len(inner))
    windows = windows - windows.mean(axis=1, keepdims=True)
    norm = np.sqrt((inner @ inner) * np.einsum("ij,ij->i", windows, windows))
    if norm.min() <= 0:
        return None
    correlation = windows @ inner / norm
    best = int(np.argmax(correlation))
    if correlation[best] < LEAST_CORRELATION or best in (0, 2 * reach):
        return None
    if best != reach and correlation[best] < correlation[reach] + LEAST_GAIN:
        return 0.0
    left, peak, right = correlation[best - 1 : best + 2]
    curve = left - 2 * peak + right
    return float(best - reach + (0.5 * (left - right) / curve if curve < 0 else 0.0))
