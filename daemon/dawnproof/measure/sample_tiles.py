"""Squares of the scan kept while its bands go by, for what is measured on a sample: spectra, noise, halos."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from ..model import Frame
from .band import Band
from .outline import Outline

SIDE_PX = 256
_MOST_ACROSS = 10

Tile = npt.NDArray[Any]  # (side, side), the type of the samples


class SampleTiles:
    """Tiles of one channel (green, or grey) on an even grid over the frame, at their own resolution."""

    def __init__(self, frame: Frame) -> None:
        self.side = min(SIDE_PX, frame.width_px, frame.height_px)
        self._channel = min(1, frame.channels - 1)
        self._lefts = _starts(frame.width_px, self.side)
        self.places = [(top, left) for top in _starts(frame.height_px, self.side) for left in self._lefts]
        kind = np.uint8 if frame.depth_bits == 8 else np.uint16
        self._tiles = np.zeros((len(self.places), self.side, self.side), kind)

    def see(self, band: Band) -> None:
        for tile, (top, left) in zip(self._tiles, self.places, strict=True):
            first, past = max(top, band.first_row), min(top + self.side, band.first_row + band.rows)
            if first < past:
                rows = slice(first - band.first_row, past - band.first_row)
                tile[first - top : past - top] = band.pixels[rows, left : left + self.side, self._channel]

    def inside(self, outline: Outline) -> list[Tile]:
        """The tiles that lie wholly inside the work."""
        return [tile for tile, (top, left) in zip(self._tiles, self.places, strict=True)
                if _holds(outline.spans_of(top, self.side), left, self.side)]  # fmt: skip


def _starts(length: int, side: int) -> list[int]:
    count = int(min(_MOST_ACROSS, max(1, length // side)))
    return [round((length - side) * (k + 0.5) / count) for k in range(count)]


def _holds(spans: npt.NDArray[np.int64], left: int, side: int) -> bool:
    return bool((spans[:, 0] <= left).all() and (spans[:, 1] >= left + side).all())
