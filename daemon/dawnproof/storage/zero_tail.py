"""Zeros really written where a picture should end: no structure check and no decoder sees them (a copy that stalled
into a preallocated file). Paper, lid and glass always carry noise, so exact zeros after living rows are a cut, unless
the picture is black there: then its own rows above say so."""

from __future__ import annotations

from typing import Final

import numpy as np

from .tiff_chunks import Pixels
from .tiff_page import Facts

ROWS_BEFORE: Final = 12
MOST_ZERO_SHARE: Final = 0.1  # of samples just above the tail: more means a black that is really clipped there
LEAST_OF_ABOVE: Final = 0.4  # last row against those some rows above: an edge of the work fades, a cut does not
MOST_ZERO_SHARE_BESIDE: Final = 0.9  # in a row cut in its middle, above either part of it
LEAST_SIDE_SHARE: Final = 0.03  # of a row, to speak of its middle


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
        if not self.tail or len(self.above) < 6:
            return 0
        if not (self.above[-2] != self.zero_value).any():
            return 0
        values = np.abs(self.above.astype(np.float32) - self.zero_value)
        return self.tail if _ends_abruptly(values[:-1]) or _ends_in_mid_row(values) else 0


def _ends_abruptly(rows: Pixels) -> bool:
    """The last whole rows are as alive and as bright as those above them."""
    if (rows == 0).mean() > MOST_ZERO_SHARE:
        return False
    return bool(np.median(rows[-1]) >= LEAST_OF_ABOVE * np.median(rows[:-4]))


def _ends_in_mid_row(rows: Pixels) -> bool:
    """The last row breaks off where the rows above it go on: no edge of a work ends in the middle of one row, not
    even in a dark picture with many real zeros."""
    written, before = (int(np.flatnonzero(row.any(axis=1))[-1]) + 1 for row in (rows[-1], rows[-2]))
    full = (1 - LEAST_SIDE_SHARE) * rows.shape[1]
    if not LEAST_SIDE_SHARE * rows.shape[1] < written < full < before:
        return False
    above, last = rows[-4:-1], rows[-1]
    if max((part == 0).mean() for part in (above[:, :written], above[:, written:])) > MOST_ZERO_SHARE_BESIDE:
        return False
    return bool(last[:written].mean() >= 0.5 * above[:, :written].mean())
