"""The vertical shift between the two views: how far the right one lies lower, px.

What stands in the columns left of a place is found again in those right of it, a little higher or lower as the
picture's own lines run; on average not at all, and nowhere in all rows at once. Across the stitch it is found lower by
the shift in every row. For every column the lag along the travel is told at which both sides agree best, block by
block of rows; a stitch is shifted where that lag stands out from those of the other columns of the strip.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Field = npt.NDArray[np.float32]  # (rows, columns)
Agreement = npt.NDArray[np.float32]  # (chunks, lags, columns): correlation, -1..1
Floats = npt.NDArray[np.float64]
Chunks = list[npt.NDArray[np.generic]]

ZONES = ((0, 2), (16, 4), (40, 6))  # columns over which the views change, and columns averaged on either side
MOST_PX = 8
FINE_ROWS, SLOW_ROWS = 1.0, 31  # structure along the travel between these two sizes is compared
LEAST_AGREEMENT = 0.12
LEAST_PX = 0.35
ABOVE_RIVAL = 1.5
RIVALS = 0.98  # quantile of the other columns' lags
JUDGED_PX = 1.0  # a shift this large must be able to stand out
LEAST_GAIN = 0.08  # how much better than without a shift both sides must agree
TOGETHER = 0.7  # share of the chunks of rows that must speak for the shift
WITHIN_PX = 0.5
LEAST_CHUNKS = 4


@dataclass(frozen=True)
class Shift:
    """`px` lower on the right of `column`; 0 where no column stands out. `least_px`: what would have stood out.
    `even`: all along the stitch the rows agree on it, so that it is no line of the picture."""

    column: int
    px: float
    least_px: float
    even: bool = False


def find_shift(chunks: Chunks, first: int, last: int, column: int | None) -> Shift | None:
    """The shift at `column`, or at the one between first and last (strip columns) that stands out; None without
    structure along the travel."""
    fine = [_fine(chunk) for chunk in chunks if len(chunk) > 4 * MOST_PX]
    if not fine or last - first < 1:
        return None
    found = [_standing_out(fine, zone, side, (first, last), column) for zone, side in ZONES]
    seen = next((shift for shift in found if shift is not None and shift.px != 0.0), None)
    told = [shift for shift in found if shift is not None]
    return seen or min(told, key=lambda shift: shift.least_px, default=None)


def _fine(chunk: npt.NDArray[np.generic]) -> Field:
    grey = chunk.astype(np.float32)
    smooth = cv2.GaussianBlur(grey, (1, 0), 0.1, sigmaY=FINE_ROWS)
    return np.asarray(smooth - cv2.blur(grey, (1, SLOW_ROWS)), np.float32)


def _standing_out(fine: list[Field], zone: int, side: int, within: tuple[int, int], column: int | None) -> Shift | None:
    start = side + zone // 2
    first, last = max(within[0] - start, 0), within[1] - start
    agreement = _agreement(fine, zone, side)
    last = min(last, agreement.shape[2])
    if last <= first:
        return None
    together = agreement.mean(axis=0)
    lags = _lag(together)
    # a column without anything to compare has no lag
    told = together.max(axis=0) >= LEAST_AGREEMENT
    lags[~told] = 0.0
    near = (first, last) if column is None else (max(column - start - 3, 0), min(column - start + 4, len(lags)))
    if near[1] <= near[0]:
        return None
    best = near[0] + int(np.abs(lags[near[0] : near[1]]).argmax())
    reach = zone + 2 * side
    others = np.abs(np.delete(lags, np.arange(max(best - reach, 0), min(best + reach + 1, len(lags)))))
    if not others.size or told[near[0] : near[1]].mean() < 0.5:
        return Shift(best + start, 0.0, np.inf)
    least = max(LEAST_PX, ABOVE_RIVAL * float(np.quantile(others, RIVALS)))
    px = float(lags[best])
    if abs(px) < least:
        return Shift(best + start, 0.0, least)
    each = agreement[:, :, best]
    at = MOST_PX + round(px)
    gain = each[:, at] - each[:, MOST_PX]
    if at in (0, 2 * MOST_PX) or float(gain.mean()) < LEAST_GAIN or float(np.mean(gain > 0)) < TOGETHER:
        return Shift(best + start, 0.0, least)
    lag = np.abs(_lag(np.moveaxis(each, 0, 1)) - px)
    return Shift(best + start, px, least, float(np.mean(lag <= WITHIN_PX)) >= TOGETHER and len(each) >= LEAST_CHUNKS)


def _agreement(fine: list[Field], zone: int, side: int) -> Agreement:
    """Correlation of the columns left of a zone with those right of it, by lag from -MOST_PX to MOST_PX."""
    told = []
    for field in fine:
        means = np.asarray(cv2.blur(field, (side, 1), anchor=(0, 0)))[:, : field.shape[1] - side + 1]
        left, right = means[MOST_PX:-MOST_PX, : -(side + zone)], means[:, side + zone :]
        rows = len(left)
        power = np.sqrt((left**2).sum(axis=0) * (right**2).sum(axis=0) * rows / len(right)) + 1e-6
        lagged = [np.einsum("yx,yx->x", left, right[lag : lag + rows]) / power for lag in range(2 * MOST_PX + 1)]
        told.append(np.stack(lagged))
    return np.stack(told)


def _lag(agreement: npt.NDArray[np.float32]) -> Floats:
    """(lags, n): place of the highest agreement between the lags, from the parabola through three of them, px."""
    best = np.clip(agreement.argmax(axis=0), 1, 2 * MOST_PX - 1)
    n = np.arange(agreement.shape[1])
    before, here, after = (agreement[best + step, n].astype(np.float64) for step in (-1, 0, 1))
    bend = before - 2 * here + after
    move = np.where(bend < -1e-9, 0.5 * (before - after) / np.minimum(bend, -1e-9), 0.0)
    return np.asarray(best - MOST_PX + np.clip(move, -1, 1), np.float64)
