"""The vertical shift between the two views: how far the right one lies lower, px.

Between neighbouring columns a picture moves up and down with its own lines, on average not at all and nowhere all at
once; between the views it moves by the shift in every row. The move between columns is told from the gradient along the
travel (Lucas and Kanade 1981), summed over the rows of the stitch, and held against the other columns of the strip.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

ALONG_PX = 1.5  # smoothing along the travel
AROUND = 5  # columns averaged for the gradient, so that its noise does not shrink the shift
ZONES_PX = (1, 16, 40)  # columns over which the views change
STANDS_OUT = 4.5  # deviations of what the other columns show
ABOVE_RIVAL = 1.3
JUDGED_PX = 1.0  # a shift this large must be able to stand out
BLOCK_ROWS = 16


@dataclass(frozen=True)
class Shift:
    """`px` lower on the right of `column`; 0 where no column stands out. `least_px`: what would have stood out."""

    column: int
    px: float
    least_px: float


def find_shift(chunks: list[npt.NDArray[np.generic]], first: int, last: int, column: int | None) -> Shift | None:
    """The shift at `column`, or at the one between first and last (strip columns) that stands out; None without
    structure along the travel."""
    moves = _moves(chunks)
    if moves is None or last - first < 1:
        return None
    found = [_standing_out(moves, zone, first, last, column) for zone in ZONES_PX]
    seen = [shift for shift in found if shift.px != 0.0]
    if seen:
        return max(seen, key=lambda shift: abs(shift.px) / shift.least_px)
    return min(found, key=lambda shift: shift.least_px)


def _moves(chunks: list[npt.NDArray[np.generic]]) -> Floats | None:
    """How far each column lies lower than the one before it, px."""
    above, below = [], []
    for chunk in chunks:
        grey = np.asarray(cv2.GaussianBlur(chunk.astype(np.float32), (1, 0), 0.1, sigmaY=ALONG_PX), np.float32)
        slope = np.asarray(cv2.blur(np.gradient(grey, axis=0), (AROUND, 1)), np.float32)
        change = np.diff(grey - grey.mean(axis=0), axis=1, prepend=0.0)
        above.append(_blocks(slope * change))
        below.append(_blocks(slope**2))
    strength = np.concatenate(below)
    usual = float(np.median(strength))
    if usual <= 1e-6:
        return None
    each = -np.concatenate(above) / np.maximum(strength, 0.3 * usual)
    # one slanted stroke moves its own rows only: the median over blocks of rows does not follow it
    moves = np.median(each, axis=0)
    moves[: AROUND + 1] = moves[-AROUND:] = np.median(moves)
    return np.asarray(moves - np.median(moves), dtype=np.float64)


def _blocks(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    rows = len(values) // BLOCK_ROWS * BLOCK_ROWS
    return np.asarray(values[:rows].reshape(-1, BLOCK_ROWS, values.shape[1]).sum(axis=1))


def _standing_out(moves: Floats, zone: int, first: int, last: int, column: int | None) -> Shift:
    summed = np.convolve(moves, np.ones(zone), mode="same")
    size = np.abs(summed)
    best = first + int(size[first:last].argmax()) if column is None else int(np.clip(column, first, last - 1))
    if column is not None:
        near = slice(max(best - 3, 0), best + 4)
        best = near.start + int(size[near].argmax())
    others = np.delete(size, np.arange(max(best - zone - 4, 0), min(best + zone + 5, len(size))))
    if not others.size:
        return Shift(best, 0.0, np.inf)
    least = max(STANDS_OUT * 1.4826 * float(np.median(others)), ABOVE_RIVAL * float(others.max()), 1e-3)
    return Shift(best, float(summed[best]) if size[best] >= least else 0.0, least)
