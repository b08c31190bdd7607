"""Colour channels out of register: the sub-pixel shift of red and blue against green.

Tiles with detail are compared channel by channel: the whitened cross spectrum of two channels gives the whole-pixel
shift by its peak (phase correlation, Kuglin and Hines 1975) and the remainder by the slope of its phase, frequencies
weighed by how far they stand above the noise. The median over the tiles leaves out pigment edges, at which channels
differ for good reasons; a tile counts only where its channels show the same structure. Left, middle and right of the
scan are judged apart, because a lens spreads the colours in opposite directions at its two ends.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import ClassVar

import numpy as np

from ..model import Frame, Reading
from .band import Band
from .channel_shift import TILE_PX, TileShift, tile_shifts
from .outline import Outline

TILES_ACROSS = 20
TILES_DOWN = 20
STRIPS = 3
LEAST_TILES = 6  # in a strip, for a value
CERTAIN_TILES = 16
PAIRS = (("red_green", 0), ("blue_green", 2))


class Fringe:
    """Readings `red_green`, `blue_green`: px, length of the shift, worst strip of the scan."""

    name: ClassVar[str] = "fringe"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._tiles: list[TileShift] = []
        across = max(1, min(TILES_ACROSS, frame.width_px // TILE_PX))
        self._left = np.linspace(0, max(0, frame.width_px - TILE_PX), across).astype(int)
        self._apart = max(TILE_PX, frame.height_px // TILES_DOWN)  # rows from one row of tiles to the next
        self._next = 0

    def see(self, band: Band) -> None:
        if self._too_small():
            return
        for top in range(0, band.rows - TILE_PX + 1, TILE_PX):
            row = band.first_row + top
            if row >= self._next:
                self._tiles += tile_shifts(band.pixels[top : top + TILE_PX], row, self._left)
                self._next = row + self._apart

    def readings(self, outline: Outline) -> Iterable[Reading]:
        if self._frame.channels != 3:
            return self._none("one channel only")
        if self._too_small():
            return self._none("the scan is too small")
        box = outline.box
        inside = [
            tile
            for tile in self._tiles
            if box.x <= tile.column <= box.right - TILE_PX and box.y <= tile.row <= box.bottom - TILE_PX
        ]
        return tuple(self._judge(name, channel, inside) for name, channel in PAIRS)

    def _judge(self, name: str, channel: int, tiles: list[TileShift]) -> Reading:
        edges = np.linspace(0, self._frame.width_px, STRIPS + 1)
        worst: tuple[float, int, int, float] | None = None
        for strip, (left, right) in enumerate(pairwise(edges)):
            shifts = np.array(
                [
                    tile.shift_px
                    for tile in tiles
                    if tile.channel == channel and left <= tile.column + TILE_PX / 2 < right
                ]
            ).reshape(-1, 2)
            if len(shifts) < LEAST_TILES:
                continue
            middle = np.median(shifts, axis=0)
            spread = 1.4826 * float(np.median(np.abs(shifts - middle)))
            length = float(np.hypot(*middle))
            if worst is None or length > worst[0]:
                worst = (length, len(shifts), strip, spread / float(np.sqrt(len(shifts))))
        if worst is None:
            return Reading(self.name, name, None, "px", why="too little detail that all channels show")
        length, count, strip, doubt = worst
        where = self._frame.where(edges[strip], 0, edges[1] - edges[0], self._frame.height_px)
        sure = 0.95 if count >= CERTAIN_TILES and doubt < 0.03 else 0.8
        return Reading(self.name, name, round(length, 3), "px", sure=sure, where=where, certain=count >= CERTAIN_TILES)

    def _none(self, why: str) -> tuple[Reading, ...]:
        return tuple(Reading(self.name, name, None, "px", why=why) for name, _ in PAIRS)

    def _too_small(self) -> bool:
        return self._frame.channels != 3 or min(self._frame.width_px, self._frame.height_px) < TILE_PX


CHECK = Fringe
