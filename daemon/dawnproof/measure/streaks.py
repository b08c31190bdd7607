"""Streaks: columns a little lighter or darker along the travel, from dust on the sensor or a bad calibration.

A streak belongs to one sensor column: it is straight to a fraction of a pixel, changes the light by a constant
share whatever lies there, and goes on over the work's edge onto the lid. So every column is compared with its
neighbours (a high-passed column profile, as in the published rule of thumb 'z > 6'), per stretch of the height and
by the median of that stretch, which leaves content out; the stretches are weighed by how quiet they are, and the
column is judged against the spread of the image's own other columns. A painted line ends before the frame or is
slanted; a weave or laid paper shows many columns alike. Where no lid is in the frame, the work alone must tell
(`streak_alone`), and no fault is built on it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

import cv2
import numpy as np
import numpy.typing as npt

from ..model import Frame, Mark, Reading
from .band import Band, Pixels
from .medians import medians
from .outline import Outline
from .streak_alone import lone_streaks
from .streak_edges import EdgeSums, edge_sums, stacked
from .streak_lines import APART_PX, Beside, Streak, find_streaks

GROUP_ROWS = 4  # neighbouring rows averaged before the median: against noise and coarse steps of 8 bits
MOST_GROUPS = 1600  # rows are skipped evenly beyond this; content repeats from row to row, so little is lost
MOST_STRETCHES = 64
GROUPS_IN_STRETCH = 5
LEAST_HEIGHT = 60
LEAST_WIDTH = 64
SHADOW_PX = 50  # above and below the work's corners
DARKEST_LID = 0.1  # share of full scale: a black lid shows noise, not streaks
EDGE_PX = 20  # beside the work's edge: its shadow and what the outline may be off
DARKEST = 0.03  # share of full scale below which a relative change is not meaningful


class Streaks:
    """Readings `count` (streaks from 0.5 % and 30 % of the height) and `worst` (%, place of the strongest).

    Certain only where the lid, or whatever surrounds the work, shows the streak too.
    """

    name: ClassVar[str] = "streaks"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        groups = frame.height_px // GROUP_ROWS
        self._skip = max(1, -(-groups // MOST_GROUPS))
        self._count = max(1, min(MOST_STRETCHES, groups // self._skip // GROUPS_IN_STRETCH))
        self._full = 255.0 if frame.depth_bits == 8 else 65535.0
        self._gathering: list[npt.NDArray[np.float32]] = []  # tones of the groups of rows of the present stretch
        self._stretch = 0
        self._profiles: dict[int, npt.NDArray[np.float32]] = {}  # stretch → (2, columns): share, tone
        self._edges: dict[int, EdgeSums] = {}
        self._found: tuple[Streak, ...] = ()

    def see(self, band: Band) -> None:
        if self._too_small():
            return
        step = GROUP_ROWS * self._skip
        for first in range(-band.first_row % step, band.rows - GROUP_ROWS + 1, step):
            self._take(band.first_row + first, band.grey[first : first + GROUP_ROWS])

    def readings(self, outline: Outline) -> Iterable[Reading]:
        if self._too_small():
            why = "the scan is too small to tell a streak from its content"
            return (
                Reading(self.name, "count", None, "columns", why=why),
                Reading(self.name, "worst", None, "%", why=why),
            )
        self._close()
        self._found = self._search(outline)
        return self._report()

    def marks(self) -> tuple[Mark, ...]:
        """Every streak found, strongest first; after `readings`."""
        mm = self._frame.mm_x
        return tuple(
            Mark("streak", round(mm(s.column + 0.5), 3), None, round(mm(s.width_px), 3), round(s.strength * 100, 3))
            for s in self._found
        )

    def streaks(self) -> tuple[Streak, ...]:
        """The streaks behind the readings, strongest first."""
        return self._found

    def _too_small(self) -> bool:
        return self._frame.width_px < LEAST_WIDTH or self._frame.height_px < LEAST_HEIGHT

    def _take(self, row: int, rows: Pixels) -> None:
        stretch = min(row * self._count // self._frame.height_px, self._count - 1)
        if stretch != self._stretch:
            self._close()
            self._stretch = stretch
        total = np.asarray(cv2.reduce(rows, 0, cv2.REDUCE_SUM, dtype=cv2.CV_32F), np.float32)
        self._gathering.append(total[0] * np.float32(1.0 / (self._full * rows.shape[0])))

    def _close(self) -> None:
        if self._gathering:
            tone = np.stack(self._gathering)
            self._profiles[self._stretch] = medians(_against_neighbours(tone), axis=1)
            self._edges[self._stretch] = edge_sums(tone, coarse=self._frame.depth_bits == 8)
            self._gathering = []

    def _search(self, outline: Outline) -> tuple[Streak, ...]:
        if len(self._profiles) < 3:
            return ()
        order = sorted(self._profiles)
        stack = np.stack([self._profiles[k] for k in order])
        rows_each = self._frame.height_px / self._count
        lid = np.array([(k + 1) * rows_each <= outline.box.y or k * rows_each >= outline.box.bottom for k in order])
        lid &= np.median(stack[:, 1], axis=1) > DARKEST_LID
        beside = Beside(lid, self._near_edges(outline, order))
        proven = find_streaks(stack[:, 0], stack[:, 1], beside, rows_each)
        alone = lone_streaks(stacked([self._edges[k] for k in order]), beside, rows_each)
        more = [one for one in alone if all(abs(one.column - other.column) >= APART_PX for other in proven)]
        return tuple(sorted((*proven, *more), key=lambda streak: -abs(streak.strength)))

    def _near_edges(self, outline: Outline, stretches: list[int]) -> npt.NDArray[np.bool_]:
        """(stretches, columns): True where the work's left or right edge or a corner's shadow passes close by."""
        near = np.zeros((len(stretches), self._frame.width_px), bool)
        for k, stretch in enumerate(stretches):
            first = stretch * self._frame.height_px // self._count
            past = max(first + 1, (stretch + 1) * self._frame.height_px // self._count)
            spans = outline.spans_of(first, past - first)
            spans = spans[spans[:, 1] > spans[:, 0]]
            for edge in spans.T if len(spans) else ():
                if edge.min() > 0 and edge.max() < self._frame.width_px:
                    near[k, max(0, edge.min() - EDGE_PX) : edge.max() + EDGE_PX] = True
        for x, y in outline.corners:
            place = np.array(stretches) * self._frame.height_px / self._count
            rows = np.abs(place + self._frame.height_px / self._count / 2 - y) < SHADOW_PX
            near[rows, max(0, round(x) - EDGE_PX) : max(0, round(x) + EDGE_PX)] = True
        return near

    def _report(self) -> tuple[Reading, ...]:
        count = len(self._found)
        if not count:
            return (
                Reading(self.name, "count", 0.0, "columns", sure=0.98),
                Reading(self.name, "worst", 0.0, "%", sure=0.98),
            )
        worst = self._found[0]
        where = self._frame.where(
            worst.column - (worst.width_px - 1) / 2,
            worst.first_row,
            worst.width_px,
            worst.last_row - worst.first_row,
        )
        sure = 0.99 if worst.on_lid else 0.9
        share = round(abs(worst.strength) * 100, 3)
        return (
            Reading(self.name, "count", float(count), "columns", sure=sure, certain=worst.on_lid),
            Reading(self.name, "worst", share, "%", sure=sure, where=where, certain=worst.on_lid),
        )


def _against_neighbours(tone: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """(2, groups, columns) of (groups, columns): each column against the mean of its two neighbours, as a share of
    the tone; and the tone."""
    line = np.pad(tone, ((0, 0), (1, 1)), mode="reflect")
    beside = (line[:, :-2] + line[:, 2:]) / 2
    share = (tone - beside) / np.maximum(beside, np.float32(DARKEST))
    return np.stack([share, tone])


CHECK = Streaks
