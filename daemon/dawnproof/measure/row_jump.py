"""How far one row of a scan lies sideways of the row before it: normalised correlation over a range of lags, in
several chunks of the width that must agree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .band import Pixels

CHUNKS = 12
LEAST_CHUNK_PX = 96
MOST_CHUNK_PX = 360
FARTHEST_PX = 40
LEAST_LAG_PX = 0.25
LEAST_CORRELATION = 0.5
REPEATS = 0.93  # another lag that fits so well, against the best: a pattern
LEAST_GAIN = 1.8
LEAST_UNCERTAIN_PX, LEAST_UNCERTAIN_GAIN = 1.0, 2.2
AGREE_WITHIN_PX, AGREE_WITHIN_SHARE = 0.5, 0.1
LEAST_AGREEING = 0.55
STEEPEST_PX = 5.0  # sideways from row to row: content slants no more
CERTAIN_CHUNKS, CERTAIN_SHARE = 5, 0.75


@dataclass(frozen=True, slots=True)
class Jump:
    """From `row` on the scan lies `shift_px` to the right of what comes before (negative: left); a share `sure` of the
    chunks that could be compared agree. `certain`: many chunks, nearly all of one mind."""

    row: int
    shift_px: float
    sure: float
    certain: bool


@dataclass(frozen=True, slots=True)
class _Match:
    """Correlation of a chunk's two rows by lag, from -reach on, and the lag of its top (None: nothing tells)."""

    correlation: npt.NDArray[np.float64]
    lag: float | None

    def gain(self, usual_px: float) -> float:
        """How many times more is left unexplained at the usual lag than at the best one."""
        reach = len(self.correlation) // 2
        at = int(np.clip(reach + round(usual_px), 0, 2 * reach))
        return float((1 - self.correlation[at] + 1e-6) / (1 - self.correlation.max() + 1e-6))


def jump_between(rows: Pixels, row: int) -> Jump | None:
    """The jump between the middle two of four rows, (4, columns), beyond what each chunk of the width does before and
    after it anyway, because its content slants. `row`: number of the third row.

    None when too little of the width can be compared, or the chunks disagree.
    """
    columns = rows.shape[1]
    count = max(2, min(CHUNKS, columns // LEAST_CHUNK_PX))
    size = columns // count
    if size < 32:
        return None
    reach = min(FARTHEST_PX, size // 3)
    starts = [k * size + max(0, (size - MOST_CHUNK_PX) // 2) for k in range(count)]
    chunks = [rows[:, start : start + min(size, MOST_CHUNK_PX)].astype(np.float64) for start in starts]
    here = [_match(chunk[1], chunk[2], reach) for chunk in chunks]
    known = [match.lag for match in here if match.lag is not None]
    if len(known) < max(2, count // 3) or abs(float(np.median(known))) < LEAST_LAG_PX:
        return None
    jumps: list[float] = []
    gains: list[float] = []
    for chunk, match in zip(chunks, here, strict=True):
        if match.lag is not None:
            usual = _usual(_match(chunk[0], chunk[1], reach).lag, _match(chunk[2], chunk[3], reach).lag)
            jumps.append(match.lag - usual)
            gains.append(match.gain(usual))
    return _agreed(np.array(jumps), np.array(gains), row)


def _usual(before: float | None, after: float | None) -> float:
    """What the chunk does from row to row anyway: of the rows before and after, what can be told and is not far."""
    told = [lag for lag in (before, after) if lag is not None and abs(lag) <= STEEPEST_PX]
    return float(np.mean(told)) if told else 0.0


def _agreed(jumps: npt.NDArray[np.float64], gains: npt.NDArray[np.float64], row: int) -> Jump | None:
    middle = float(np.median(jumps))
    agreeing = np.abs(jumps - middle) <= max(AGREE_WITHIN_PX, AGREE_WITHIN_SHARE * abs(middle))
    share = float(agreeing.mean())
    if share < LEAST_AGREEING or agreeing.sum() < 3 or np.median(gains[agreeing]) < LEAST_GAIN:
        return None
    certain = int(agreeing.sum()) >= CERTAIN_CHUNKS and share >= CERTAIN_SHARE
    if not certain and (abs(middle) < LEAST_UNCERTAIN_PX or np.median(gains[agreeing]) < LEAST_UNCERTAIN_GAIN):
        return None
    return Jump(row, float(np.median(jumps[agreeing])), round(share, 3), certain)


def _match(before: npt.NDArray[np.float64], after: npt.NDArray[np.float64], reach: int) -> _Match:
    """Normalised correlation over the lags; no lag where nothing tells or a pattern repeats."""
    inner = before[reach : len(before) - reach]
    inner = inner - inner.mean()
    windows = np.lib.stride_tricks.sliding_window_view(after, len(inner))
    windows = windows - windows.mean(axis=1, keepdims=True)
    norm = np.sqrt((inner @ inner) * np.einsum("ij,ij->i", windows, windows))
    if norm.min() <= 0:
        return _Match(np.zeros(2 * reach + 1), None)
    correlation = windows @ inner / norm
    return _Match(correlation, _top(correlation, reach))


def _top(correlation: npt.NDArray[np.float64], reach: int) -> float | None:
    """Sub-pixel lag of the highest correlation."""
    best = int(np.argmax(correlation))
    if correlation[best] < LEAST_CORRELATION or best in (0, 2 * reach):
        return None
    away = np.abs(np.arange(2 * reach + 1) - best) > _half_width(correlation, best)
    if away.any() and correlation[away].max() > REPEATS * correlation[best]:
        return None
    left, peak, right = correlation[best - 1 : best + 2]
    curve = left - 2 * peak + right
    return float(best - reach + (0.5 * (left - right) / curve if curve < 0 else 0.0))


def _half_width(correlation: npt.NDArray[np.float64], best: int) -> int:
    """How far from its top the peak falls, at most, before it rises again."""
    reach = 1
    while (
        best - reach > 0
        and best + reach < len(correlation) - 1
        and (
            correlation[best - reach - 1] < correlation[best - reach]
            or correlation[best + reach + 1] < correlation[best + reach]
        )
    ):
        reach += 1
    return reach
