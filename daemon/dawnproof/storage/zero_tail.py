"""Zeros really written where a picture should end: no structure check and no decoder sees them (a copy that stalled
into a preallocated file). Paper, lid and glass always carry noise, so exact zeros after living rows are a cut."""

from __future__ import annotations

from typing import Final

import numpy as np

from .tiff_chunks import Pixels
from .tiff_page import Facts

ROWS_BEFORE: Final = 12
MOST_ZERO_SHARE: Final = 0.1  # of samples just above the tail: more means a black that is really clipped there
LEAST_OF_ABOVE: Final = 0.25  # last row against those above: an edge of the work fades, a cut does not


class ZeroTail:
    """Sees the bands of an uncompressed scan go by and tells at the end how many of its last rows were never written.

    Only the part that is stored last is watched: the last plane of a planar file, the last column of tiles.
    """

    def __init__(self, facts: Facts) -> None:
        chunks = facts.chunks
        self.first_column = (chunks.across - 1) * chunks.width_px if chunks.tiled else 0
        self.first_channel = facts.channels - 1 if facts.planar else 0
        self.zero_value = (1 << facts.depth_bits) - 1 if facts.white_is_zero else 0
        self.tail = 0
        self.above = np.empty((0, 0, 0), np.uint8)  # the rows just above the tail

    def see(self, band: Pixels) -> None:
        watched = band[:, self.first_column :, self.first_channel :]
        alive = len(watched)
        while alive and not (watched[alive - 1] != self.zero_value).any():
            alive -= 1
        self.tail = len(watched) - alive + (self.tail if alive == 0 else 0)
        if alive:
            self.above = watched[max(0, alive - ROWS_BEFORE - 1) : alive].copy()

    def rows_missing(self) -> int:
        """Rows at the end that were never written; 0 when the end is alive or really black."""
        if not self.tail or len(self.above) < 4:
            return 0
        whole = self.above[:-1]  # the last living row may itself be cut in the middle
        if (whole == self.zero_value).mean() > MOST_ZERO_SHARE:
            return 0
        last, before = np.median(whole[-1]), np.median(whole[:-2])
        if self.zero_value:
            last, before = self.zero_value - last, self.zero_value - before
        return self.tail if last >= LEAST_OF_ABOVE * before else 0
