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
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from ..model import Frame, Reading
from .band import Band, Pixels
from .medians import known_medians, medians
from .outline import Outline
from .row_jump import Jump, jump_between

Sums = npt.NDArray[np.float32]  # (row pairs, windows)

MOST_WINDOWS = 24
WINDOW_PX = 128
LEAST_WINDOW_PX = 24
LEAST_ROWS = 16
SHIFT_STANDS_OUT_PX = 0.12
STANDS_OUT = 7.0  # times the usual row-to-row wander
CHANGE_STANDS_OUT = 1.9  # times the usual row-to-row change
MOST_LOOKED_AT = 8  # rows of one band; more of them is content
LEAST_JUMP_PX = 0.4
LEAST_GRADIENT = 0.1  # of the usual, for a window to tell anything
LEAST_WINDOWS = 3
BUSY = 0.6  # share of the windows that must vary within a row
MOST_UNCERTAIN = 3
MOST_JUMPS = 6  # of a bed that is knocked; more is a pattern that repeats
NOISE = 4.0  # change over gradient energy: 8 for mere noise, below 2 where rows are alike
CARRIED_ROWS = 3  # of the band before, so that every pair of rows is seen with the pairs around it


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
        self._starts, self._window = _windows(frame.width_px)
        self._last: Pixels | None = None  # the last rows of the band before
        self._seen: dict[int, int] = {}  # hash of a row's windows → row
        self._jumps: list[Jump] = []
        self._repeated: list[int] = []
        self._lost: list[int] = []
        self._told = 0  # row pairs with something to compare

    def see(self, band: Band) -> None:
        if self._too_small():
            return
        windows = self._windows_of(band.grey)
        self._count_repeats(windows, band.first_row)
        above = band.grey[:0] if self._last is None else self._last
        rows = _Rows(above, band.grey)
        self._last = rows[len(rows) - CARRIED_ROWS :].copy() if len(rows) > CARRIED_ROWS else rows[0:].copy()
        if len(rows) > CARRIED_ROWS:
            seen = np.concatenate([self._windows_of(above), windows]).astype(np.float32)
            self._look_for_jumps(rows, _sums(seen), band.first_row - len(above))

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

    def _windows_of(self, grey: Pixels) -> Pixels:
        """(rows, windows, pixels) of (rows, columns)."""
        seen = np.empty((len(grey), len(self._starts), self._window), grey.dtype)
        for k, start in enumerate(self._starts):
            seen[:, k] = grey[:, start : start + self._window]
        return seen

    def _count_repeats(self, windows: Pixels, first_row: int) -> None:
        brightest, darkest = windows.max(axis=2), windows.min(axis=2)
        varies = brightest > darkest
        # a clipped lid with a few specks repeats itself honestly: only rows that vary nearly everywhere prove anything
        busy = varies.mean(axis=1) >= BUSY
        for k in np.flatnonzero(busy):
            key = hash(windows[k].tobytes())
            if key in self._seen:
                self._repeated.append(first_row + int(k))
            self._seen[key] = first_row + int(k)
        flat = brightest.max(axis=1) == darkest.min(axis=1)
        lost = flat[1:-1] & busy[:-2] & busy[2:]
        self._lost += [first_row + 1 + int(k) for k in np.flatnonzero(lost)]

    def _look_for_jumps(self, grey: _Rows, pairs: _Pairs, first_row: int) -> None:
        telling = pairs.gradient > LEAST_GRADIENT * np.median(pairs.gradient) + 1e-9
        change = medians(pairs.change, axis=0)
        telling &= change < NOISE * medians(pairs.gradient, axis=0)
        self._told += int((telling.sum(axis=1) >= LEAST_WINDOWS).sum())
        shift = np.where(telling, -pairs.product / np.maximum(pairs.gradient, 1e-12), np.nan)
        usual = change + 1e-12
        # what slants goes on from row to row: only a row that differs from the rows around it can be a jump
        sudden = _middle(shift[1:-1] - (shift[:-2] + shift[2:]) / 2)
        growth = _middle(np.where(telling, pairs.change / usual, np.nan))[1:-1]
        spread = 1.4826 * float(np.median(np.abs(sudden)))
        odd = np.abs(sudden) > max(SHIFT_STANDS_OUT_PX, STANDS_OUT * spread)
        odd |= growth > CHANGE_STANDS_OUT * max(1.0, float(np.median(growth)))
        rows = np.flatnonzero(odd)
        oddest = np.argsort(-np.maximum(growth[rows] - 1, np.abs(sudden[rows])))
        for k in np.sort(rows[oddest[:MOST_LOOKED_AT]]):
            jump = jump_between(grey[k : k + 4], first_row + int(k) + 2)
            if jump is not None and abs(jump.shift_px) >= LEAST_JUMP_PX:
                self._jumps.append(jump)

    def _wander(self, outline: Outline) -> Reading:
        if self._told < self._frame.height_px // 10:
            why = "too little detail to follow the travel"
            return Reading(self.name, "wander", None, "px", why=why)
        jumps = _apart(self._jumps)
        if len(jumps) > MOST_JUMPS:
            why = "so many rows jump that it is the content"
            return Reading(self.name, "wander", None, "px", why=why)
        if not jumps:
            return Reading(self.name, "wander", 0.0, "px", sure=0.95)
        place = np.concatenate([[0.0], np.cumsum([jump.shift_px for jump in jumps])])
        largest = max(jumps, key=lambda jump: abs(jump.shift_px))
        where = self._frame.where(0, max(0, largest.row - 1), self._frame.width_px, 2)
        return Reading(
            self.name,
            "wander",
            round(float(place.max() - place.min()), 2),
            "px",
            sure=largest.sure,
            where=where,
            certain=all(jump.certain for jump in jumps),
        )

    def _rows(self) -> Reading:
        faults = sorted({*self._repeated, *self._lost})
        if len(faults) > self._frame.height_px // 5:
            why = "rows repeat throughout: enlarged or made, not scanned row by row"
            return Reading(self.name, "rows", None, "count", why=why)
        where = self._frame.where(0, faults[0], self._frame.width_px, 1) if faults else None
        return Reading(self.name, "rows", float(len(faults)), "count", where=where)


def _apart(jumps: list[Jump]) -> list[Jump]:
    """Without those that only answer to a larger jump one row away, to which they were compared; and without the
    uncertain ones where there are many: content that looks like it, not a bed that jumps all the time."""
    if sum(not jump.certain for jump in jumps) > MOST_UNCERTAIN:
        jumps = [jump for jump in jumps if jump.certain]
    return [
        jump
        for jump in jumps
        if not any(0 < abs(other.row - jump.row) <= 1 and abs(other.shift_px) > abs(jump.shift_px) for other in jumps)
    ]


class _Rows:
    """The last rows of the band before and those of a band, as one; nothing is copied that is not asked for."""

    def __init__(self, above: Pixels, below: Pixels) -> None:
        self._above, self._below = above, below

    def __len__(self) -> int:
        return len(self._above) + len(self._below)

    def __getitem__(self, rows: slice) -> Pixels:
        first, past, _ = rows.indices(len(self))
        cut = len(self._above)
        if first >= cut:
            return self._below[first - cut : past - cut]
        return np.concatenate([self._above[first:past], self._below[: max(past - cut, 0)]])


def _windows(width_px: int) -> tuple[list[int], int]:
    """First columns of the windows spread over the width, and the pixels of one."""
    count = max(1, min(MOST_WINDOWS, width_px // (LEAST_WINDOW_PX * 2)))
    size = min(WINDOW_PX, width_px // count)
    return [int(start) for start in np.linspace(0, width_px - size, count)], size


def _sums(rows: npt.NDArray[np.float32]) -> _Pairs:
    """From (rows, windows, pixels)."""
    slope = (rows[:, :, 2:] - rows[:, :, :-2]) * np.float32(0.25)
    along = slope[1:] + slope[:-1]
    change = rows[1:, :, 1:-1] - rows[:-1, :, 1:-1]
    return _Pairs(
        gradient=np.einsum("ijk,ijk->ij", along, along),
        product=np.einsum("ijk,ijk->ij", along, change),
        change=np.einsum("ijk,ijk->ij", change, change),
    )


def _middle(values: npt.NDArray[np.floating[Any]]) -> npt.NDArray[np.float64]:
    """Median of each row without the NaNs; 0 where a row has too few values."""
    known = np.isfinite(values)
    enough = known.sum(axis=1) >= LEAST_WINDOWS
    middle = np.zeros(len(values))
    if enough.any():
        middle[enough] = known_medians(values[enough])
    return middle


CHECK = Travel
