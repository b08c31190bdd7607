"""Whether the work slipped or the bed was knocked while the sensor travelled, and whether rows came twice.

Neighbouring rows of a scan are nearly alike. Their sideways displacement follows in each of many column windows by
least squares from the gradient along the row (Lucas and Kanade 1981, in one dimension). What slants in the work
gives displacements that differ from window to window or go on from row to row; a slip gives the same jump in all
windows at one row and stays. Rows that look like one are then compared by correlation over a range of lags.

Rows are only counted where it can be proven: a row that repeats an earlier one including its noise, a row that lost
all its values between rows that have some. Missing rows leave nothing that a horizontal edge could not leave too.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from ..model import Frame, Reading
from .band import Band, Pixels
from .outline import Outline
from .row_jump import CHUNKS, Jump, jump_between

Sums = npt.NDArray[np.float32]  # (row pairs, windows)

MOST_WINDOWS = 24
WINDOW_PX = 128
LEAST_WINDOW_PX = 24
LEAST_ROWS = 16
SHIFT_STANDS_OUT_PX = 0.12
STANDS_OUT = 7.0  # times the usual row-to-row wander
CHANGE_STANDS_OUT = 1.9  # times the usual row-to-row change
SEEN_BY = 0.7  # share of the telling windows
MOST_LOOKED_AT = 24  # rows of one band; more of them is content
LEAST_JUMP_PX = 0.3


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Sums over each window of row y and y + 1: gradient squared, gradient times change, change squared."""

    gradient: Sums
    product: Sums
    change: Sums


class Travel:
    """Readings `wander` (px, how far the scan moved sideways along the travel) and `rows` (count of doubled or lost
    rows). A wander is certain when the jump is the same over at least half the width."""

    name: ClassVar[str] = "travel"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._columns, self._window = _windows(frame.width_px)
        self._last: Pixels | None = None  # the whole last row of the band before
        self._seen: dict[int, int] = {}  # hash of a row's windows → row
        self._jumps: list[Jump] = []
        self._repeated: list[int] = []
        self._lost: list[int] = []
        self._told = 0  # row pairs with something to compare
        self._flat_before: int | None = None

    def see(self, band: Band) -> None:
        if self._too_small():
            return
        grey = band.grey if self._last is None else np.concatenate([self._last[None], band.grey])
        first_row = band.first_row - (self._last is not None)
        self._last = band.grey[-1].copy()
        pixels = grey[:, self._columns.ravel()]
        self._count_repeats(pixels, first_row, skip_first=first_row < band.first_row)
        rows = pixels.astype(np.float32).reshape(len(pixels), len(self._columns), self._window)
        self._look_for_jumps(grey, _sums(rows), first_row)

    def readings(self, outline: Outline) -> Iterable[Reading]:
        if self._too_small():
            why = "the scan is too small to follow its travel"
            return (
                Reading(self.name, "wander", None, "px", why=why),
                Reading(self.name, "rows", None, "count", why=why),
            )
        return (self._wander(outline), self._rows())

    def _too_small(self) -> bool:
        return self._window < LEAST_WINDOW_PX or self._frame.height_px < LEAST_ROWS

    def _count_repeats(self, pixels: Pixels, first_row: int, skip_first: bool) -> None:
        high, low = pixels.max(axis=1), pixels.min(axis=1)
        for k in range(int(skip_first), len(pixels)):
            row = first_row + k
            if high[k] == low[k]:
                continue
            key = hash(pixels[k].tobytes())
            if key in self._seen:
                self._repeated.append(row)
            self._seen[key] = row
        flat = high == low
        alone = flat[1:-1] & ~flat[:-2] & ~flat[2:]
        self._lost += [first_row + 1 + int(k) for k in np.flatnonzero(alone)]

    def _look_for_jumps(self, grey: Pixels, pairs: _Pairs, first_row: int) -> None:
        usual = np.median(pairs.change, axis=0, keepdims=True) + 1e-12
        telling = pairs.gradient > 2.0 * np.median(pairs.gradient) * 0.05 + 1e-9
        shift = np.where(telling, -pairs.product / np.maximum(pairs.gradient, 1e-12), np.nan)
        self._told += int((telling.sum(axis=1) >= 3).sum())
        with np.errstate(all="ignore"):
            together = np.nan_to_num(_nanmedian(shift))
            growth = np.nan_to_num(_nanmedian(np.where(telling, pairs.change / usual, np.nan)))
        middle = float(np.median(together))
        spread = 1.4826 * float(np.median(np.abs(together - middle)))
        odd = np.abs(together - middle) > max(SHIFT_STANDS_OUT_PX, STANDS_OUT * spread)
        odd |= growth > CHANGE_STANDS_OUT * max(1.0, float(np.median(growth)))
        rows = np.flatnonzero(odd)
        if len(rows) > MOST_LOOKED_AT:
            strongest = np.argsort(-growth[rows])[:MOST_LOOKED_AT]
            rows = np.sort(rows[strongest])
        for k in rows:
            jump = jump_between(grey[k], grey[k + 1], first_row + int(k) + 1, middle)
            if jump is not None and abs(jump.shift_px) >= LEAST_JUMP_PX:
                self._jumps.append(jump)

    def _wander(self, outline: Outline) -> Reading:
        if self._told < self._frame.height_px // 10:
            why = "too little detail to follow the travel"
            return Reading(self.name, "wander", None, "px", why=why)
        if not self._jumps:
            return Reading(self.name, "wander", 0.0, "px", sure=0.95)
        place = np.concatenate([[0.0], np.cumsum([jump.shift_px for jump in self._jumps])])
        largest = max(self._jumps, key=lambda jump: abs(jump.shift_px))
        where = self._frame.where(0, max(0, largest.row - 1), self._frame.width_px, 2)
        return Reading(
            self.name,
            "wander",
            round(float(place.max() - place.min()), 2),
            "px",
            sure=largest.sure,
            where=where,
            certain=largest.chunks >= CHUNKS // 2 and largest.sure >= 0.9,
        )

    def _rows(self) -> Reading:
        faults = sorted({*self._repeated, *self._lost})
        if len(faults) > self._frame.height_px // 5:
            why = "rows repeat throughout: enlarged or made, not scanned row by row"
            return Reading(self.name, "rows", None, "count", why=why)
        where = self._frame.where(0, faults[0], self._frame.width_px, 1) if faults else None
        return Reading(self.name, "rows", float(len(faults)), "count", where=where)


def _windows(width_px: int) -> tuple[npt.NDArray[np.int64], int]:
    """(windows, pixels) column numbers of the windows spread over the width, and the pixels of one."""
    count = max(1, min(MOST_WINDOWS, width_px // (LEAST_WINDOW_PX * 2)))
    size = min(WINDOW_PX, width_px // count)
    starts = np.linspace(0, width_px - size, count).astype(np.int64)
    return starts[:, None] + np.arange(size), size


def _sums(rows: npt.NDArray[np.float32]) -> _Pairs:
    """From (rows, windows, pixels)."""
    along = (rows[:-1, :, 2:] - rows[:-1, :, :-2] + rows[1:, :, 2:] - rows[1:, :, :-2]) * np.float32(0.25)
    change = (rows[1:] - rows[:-1])[:, :, 1:-1]
    return _Pairs(
        gradient=np.einsum("ijk,ijk->ij", along, along),
        product=np.einsum("ijk,ijk->ij", along, change),
        change=np.einsum("ijk,ijk->ij", change, change),
    )


def _nanmedian(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    filled = np.nanmedian(values, axis=1)
    return np.asarray(filled, np.float64)


CHECK = Travel
