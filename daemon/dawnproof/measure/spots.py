"""Small dark or bright spots on the lid and on blank places: dust or scratches on the glass, if they come back.

One scan cannot tell dust from a speck in the paper, so there are no readings: the places are kept as marks, and a
mark at the same place of the bed in the next job is the scanner's.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

import cv2
import numpy as np
import numpy.typing as npt

from ..model import Frame, Mark, Reading
from .band import Band
from .outline import Outline

FINEST_MM = 0.1  # side of the blocks looked at
LARGEST_MM = 2.0
SURROUNDINGS = 25  # blocks
STANDS_OUT = 0.025  # share of the surroundings' tone
TIMES_ROUGHNESS = 6.0
BLANK_ROUGHNESS = 0.012  # share of the tone
DARKEST = 0.05
MOST_IN_BAND = 60
MOST_MARKS = 60


class Spots:
    """No readings; `marks()` names the spots, strongest first."""

    name: ClassVar[str] = "spots"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._block = max(1, round(FINEST_MM / frame.mm_x(1.0)))
        self._full = 255.0 if frame.depth_bits == 8 else 65535.0
        self._spots: list[Mark] = []

    def see(self, band: Band) -> None:
        down, across = band.rows // self._block, self._frame.width_px // self._block
        if min(down, across) < SURROUNDINGS // 2:
            return
        whole = band.grey[: down * self._block, : across * self._block]
        small = np.asarray(cv2.resize(whole, (across, down), interpolation=cv2.INTER_AREA), np.float32)
        self._spots += self._find(small * np.float32(1.0 / self._full), band.first_row)

    def readings(self, outline: Outline) -> Iterable[Reading]:
        return ()

    def marks(self) -> tuple[Mark, ...]:
        """At most 60, the strongest first."""
        return tuple(sorted(self._spots, key=lambda mark: -abs(mark.strength))[:MOST_MARKS])

    def _find(self, small: npt.NDArray[np.float32], first_row: int) -> list[Mark]:
        size = (SURROUNDINGS, SURROUNDINGS)
        tone = np.maximum(np.asarray(cv2.blur(small, size)), DARKEST)
        off = small / tone - 1.0
        # what stands out must not raise the roughness it is held against
        rough = np.sqrt(np.asarray(cv2.blur(np.minimum(off * off, (2 * BLANK_ROUGHNESS) ** 2), size)))
        stands_out = (np.abs(off) > np.maximum(STANDS_OUT, TIMES_ROUGHNESS * rough)) & (rough < BLANK_ROUGHNESS)
        if not stands_out.any():
            return []
        count, labels, stats, centres = cv2.connectedComponentsWithStats(stands_out.astype(np.uint8))
        largest = LARGEST_MM / self._frame.mm_x(self._block)
        found = []
        for label in range(1, count):
            left, top, width, height, _area = stats[label]
            if max(width, height) <= largest:
                inside = labels[top : top + height, left : left + width] == label
                peak = off[top : top + height, left : left + width][inside]
                strength = float(peak[np.argmax(np.abs(peak))])
                found.append(self._mark(centres[label], max(width, height), strength, first_row))
        found.sort(key=lambda mark: -abs(mark.strength))
        return found[:MOST_IN_BAND]

    def _mark(self, centre: npt.NDArray[np.float64], size: int, strength: float, first_row: int) -> Mark:
        x, y = ((value + 0.5) * self._block for value in centre)
        return Mark(
            "spot",
            round(self._frame.mm_x(x), 3),
            round(self._frame.mm_y(first_row + y), 3),
            round(self._frame.mm_x(float(size) * self._block), 3),
            round(strength * 100, 2),
        )


CHECK = Spots
