"""Whether the work slipped or the bed was knocked while the sensor travelled, and whether rows came twice.

Neighbouring rows of a scan are nearly alike. How far they are displaced sideways (least squares from the gradient
along the row, Lucas and Kanade 1981, in one dimension) and how much they change follows in each of many column windows,
and all windows together say which rows stand out from the rows around them. What slants in the work goes on from row
to row; a slip gives the same jump in all windows at one row and stays. Rows that look like one are then compared by
correlation over a range of lags (`row_jump.py`). That none was seen says something only where one would have been: so
slips are tried out on rows of the scan itself.

Rows are only counted where it can be proven: a row that repeats an earlier one including its noise, a row that lost
all its values between rows that have some. Missing rows leave nothing that a horizontal edge could not leave too.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar, NamedTuple

import numpy as np
import numpy.typing as npt

from ..model import Frame, Reading
from .band import Band, Pixels
from .medians import medians
from .outline import Outline
from .row_jump import ROWS_AROUND, Jump, jump_between

Sums = npt.NDArray[np.float32]  # (row pairs, windows)

MOST_WINDOWS = 24
WINDOW_PX = 128
LEAST_WINDOW_PX = 24
LEAST_ROWS = 16
STANDS_OUT = 3.5  # deviations, of a row from those around it
MOST_LOOKED_AT = 8  # rows of one band; more of them is content
USUAL_FLOOR = 0.05  # of the usual change, where a window hardly changes
LEAST_JUMP_PX = 0.4
BUSY = 0.6  # share of the windows that must vary within a row
MOST_UNCERTAIN = 3
MOST_JUMPS = 6  # of a bed that is knocked; more is a pattern that repeats
TRIED_PX, TRIED_WITHIN_PX = 3, 1.0  # the slip that is tried out, and how well its size must be met
TRIED_ROWS = 32  # of the height
LEAST_SEEN = 0.5  # share of the rows tried out in which it must have been seen
CARRIED_ROWS = 2 * ROWS_AROUND - 1  # of the band before, so that every jump is seen with the rows around it


class _Pairs(NamedTuple):
    """Sums over each window of row y and y + 1: gradient squared, gradient times change, change squared."""

    gradient: Sums
    product: Sums
    change: Sums


class Travel:
    """Readings `wander` (px, how far the scan moved sideways along the travel) and `rows` (count of doubled or lost
    rows). A wander is certain when all jumps are, and few others looked like one; one of 0 is as sure as slips would
    have been seen, and undecided where that is not in half of the rows."""

    name: ClassVar[str] = "travel"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._starts, self._window = _windows(frame.width_px)
        self._last: Pixels | None = None  # the last rows of the band before
        self._pairs: _Pairs | None = None  # and their pairs
        self._seen: dict[int, int] = {}  # hash of a row's windows → row
        self._jumps: list[Jump] = []
        self._repeated: list[int] = []
        self._lost: list[int] = []
        self._try_every = max(1, frame.height_px // TRIED_ROWS)  # rows
        self._tried: list[tuple[int, bool]] = []  # row, whether a slip there would be seen

    def see(self, band: Band) -> None:
        if self._too_small():
            return
        windows = self._windows_of(band.grey)
        self._count_repeats(windows, band.first_row)
        above = band.grey[:0] if self._last is None else self._last
        rows = _Rows(above, band.grey)
        seen = windows if self._last is None else np.concatenate([self._windows_of(above[-1:]), windows])
        pairs = _sums(seen.astype(np.float32))
        if self._pairs is not None:
            pairs = _Pairs(*(np.concatenate(both) for both in zip(self._pairs, pairs, strict=True)))
        if len(rows) > CARRIED_ROWS:
            self._look_for_jumps(rows, pairs, band.first_row - len(above))
            self._try_out(rows, band.first_row - len(above))
        self._last = rows[max(0, len(rows) - CARRIED_ROWS) :].copy()
        self._pairs = _Pairs(*(sums[len(sums) - len(self._last) + 1 :] for sums in pairs))

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
        """`pairs`: of all of these rows; a jump is looked for where it has its rows around it."""
        odd = _oddness(pairs)
        odd[: ROWS_AROUND - 1] = odd[len(odd) - ROWS_AROUND + 1 :] = 0
        # what a jump does to the pairs beside it is no second one
        odd[1:-1][(odd[1:-1] < odd[:-2]) | (odd[1:-1] < odd[2:])] = 0
        rows = np.flatnonzero(odd > STANDS_OUT)
        for k in np.sort(rows[np.argsort(-odd[rows])][:MOST_LOOKED_AT]) + 1:
            jump = jump_between(grey[k - ROWS_AROUND : k + ROWS_AROUND], first_row + int(k))
            if jump is not None and abs(jump.shift_px) >= LEAST_JUMP_PX:
                self._jumps.append(jump)

    def _try_out(self, grey: _Rows, first_row: int) -> None:
        """Whether a slip would be seen: rows of this very scan, the lower ones moved aside."""
        first = ROWS_AROUND + -(first_row + ROWS_AROUND) % self._try_every
        for k in range(first, len(grey) - ROWS_AROUND + 1, self._try_every):
            rows = grey[k - ROWS_AROUND : k + ROWS_AROUND]
            moved = np.concatenate([rows[:ROWS_AROUND, TRIED_PX:], rows[ROWS_AROUND:, :-TRIED_PX]])
            jump = jump_between(moved, first_row + k)
            seen = jump is not None and abs(jump.shift_px - TRIED_PX) <= TRIED_WITHIN_PX
            self._tried.append((first_row + k, seen))

    def _wander(self, outline: Outline) -> Reading:
        jumps = _apart(self._jumps)
        if len(jumps) > MOST_JUMPS:
            why = "so many rows jump that it is the content"
            return Reading(self.name, "wander", None, "px", why=why)
        if not jumps:
            return self._still(outline)
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
            certain=all(jump.certain for jump in jumps) and not _many_uncertain(self._jumps),
        )

    def _still(self, outline: Outline) -> Reading:
        """Without a jump: that says something only where one would have been seen."""
        top, bottom = outline.box.y, outline.box.y + outline.box.height
        tried = [seen for row, seen in self._tried if top < row < bottom] or [seen for _, seen in self._tried]
        share = sum(tried) / max(1, len(tried))
        if share < LEAST_SEEN:
            why = f"too little detail to follow the travel: a slip would be seen in {share:.0%} of the rows only"
            return Reading(self.name, "wander", None, "px", why=why)
        return Reading(self.name, "wander", 0.0, "px", sure=round(min(0.95, share), 3))

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
    if _many_uncertain(jumps):
        jumps = [jump for jump in jumps if jump.certain]
    return [
        jump
        for jump in jumps
        if not any(0 < abs(other.row - jump.row) <= 1 and abs(other.shift_px) > abs(jump.shift_px) for other in jumps)
    ]


def _many_uncertain(jumps: list[Jump]) -> bool:
    """A pattern that jumps by half of its period: of many such rows one or another looks certain by chance."""
    return sum(not jump.certain for jump in jumps) > MOST_UNCERTAIN


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


def _oddness(pairs: _Pairs) -> npt.NDArray[np.float64]:
    """How far each pair of rows stands out from the pairs around it, in deviations: by its sideways displacement or by
    its change, of all windows together, each window in its own usual noise.

    What slants goes on from row to row: only what differs from the pairs before and after can be a jump.
    """
    usual = medians(pairs.change, axis=0)
    usual = usual + np.float32(USUAL_FLOOR) * usual.mean() + np.float32(1e-6)
    slope = np.maximum(medians(pairs.gradient, axis=0), usual / 8)  # an eighth of the change is what noise leaves
    shift = (pairs.product / np.sqrt(usual * slope)).sum(axis=1)
    change = np.log(pairs.change + np.float32(USUAL_FLOOR) * usual).sum(axis=1)
    return np.maximum(np.abs(_stands_out(shift)), _stands_out(change))


def _stands_out(values: npt.NDArray[np.floating[Any]]) -> npt.NDArray[np.float64]:
    """Of each value against the mean of those beside it, over the usual deviation; 0 at the ends."""
    sudden = np.zeros(len(values))
    sudden[1:-1] = values[1:-1] - (values[:-2] + values[2:]) / 2
    return sudden / (1.4826 * float(np.median(np.abs(sudden))) + 1e-6)


CHECK = Travel
