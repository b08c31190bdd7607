"""From the evidence of many blocks of rows to one word per column: how much doubling would explain there, along a
displacement that may drift, begin and end.

Each block's evidence is first held against the columns without a stitch (median and spread at the same lag and blend
width). What stays is gathered along the best path through the lags: a step of the path costs, a block that is not
doubled adds nothing, and one that agrees by chance can add only so much.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .doubling import Evidence, Search

Scores = npt.NDArray[np.float32]

COMMON = 3.0  # deviations that chance reaches among so many lags and columns; only what is above counts
LOUDEST = 12.0  # a single block counts no more than this
DRIFT_COST = 0.7  # per pixel that the displacement changes from block to block
BEGIN_COST = 2.0


@dataclass(frozen=True)
class Spread:
    """Evidence by chance, from columns without a stitch: (blends, lags, 1) each."""

    middle: Scores
    deviation: Scores


def spread_of(controls: Evidence) -> Spread:
    """Median and deviation (from the median absolute deviation) over the columns."""
    middle = np.median(controls, axis=-1, keepdims=True)
    deviation = 1.4826 * np.median(np.abs(controls - middle), axis=-1, keepdims=True)
    return Spread(middle.astype(np.float32), (deviation + 1e-6).astype(np.float32))


def deviations(evidence: Evidence, chance: Spread) -> Evidence:
    """Evidence in deviations from what chance gives."""
    return np.asarray((evidence - chance.middle) / chance.deviation, dtype=np.float32)


class Paths:
    """Best path scores for every blend width, lag and column; fed block by block from the top."""

    def __init__(self, search: Search, columns: int) -> None:
        self._step = DRIFT_COST * np.diff(np.asarray(search.lags_px)).astype(np.float32)
        shape = (len(search.blends_px), len(search.lags_px), columns)
        self._inside: Scores = np.full(shape, -1e9, np.float32)
        self._outside: Scores = np.zeros((shape[0], columns), np.float32)

    def add(self, block: Evidence) -> None:
        """One more block of rows, in deviations."""
        gain = np.minimum(block, LOUDEST) - COMMON
        before = drifted(self._inside, self._step)
        np.maximum(before, (self._outside - BEGIN_COST)[:, None], out=before)
        self._inside = np.asarray(before + gain, dtype=np.float32)
        self._outside = np.maximum(self._outside, self._inside.max(axis=1) - BEGIN_COST)

    def best(self) -> Scores:
        """(blends, columns): the score of the best path that may begin and end anywhere."""
        return np.asarray(self._outside + BEGIN_COST, dtype=np.float32)


def drifted(inside: Scores, step: Scores) -> Scores:
    """Best score at each lag when the path may move to it from any other, at the cost of the way."""
    moved = inside.copy()
    for lag in range(1, moved.shape[1]):
        np.maximum(moved[:, lag], moved[:, lag - 1] - step[lag - 1], out=moved[:, lag])
    for lag in range(moved.shape[1] - 2, -1, -1):
        np.maximum(moved[:, lag], moved[:, lag + 1] - step[lag], out=moved[:, lag])
    return moved
