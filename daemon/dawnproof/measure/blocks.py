"""Exact counts of marked pixels by block: bounded memory for a whole scan, cut by the work's outline afterwards."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from .outline import Outline

_EXACT_IN_BYTES = 254  # pixels a block may hold for 255 * share to give back the count


class BlockCounts:
    """Counts of marked pixels, by channel, in blocks of `block` by `block` pixels of a scan of the given size.

    `block` is at most 255. The last column and row of blocks may be partial; nothing is left out.
    """

    def __init__(self, width_px: int, height_px: int, block: int, channels: int = 1) -> None:
        self.block = block
        self._width = width_px
        self._shape = (-(-height_px // block), -(-width_px // block), channels)
        self._type = np.uint8 if block * block <= 255 else np.uint16
        self._rows: dict[int, npt.NDArray[np.unsignedinteger]] = {}

    def add(self, first_row: int, marked: npt.NDArray[Any]) -> None:
        """Count the marked pixels (uint8, 0 or 255; rows, columns[, channels]) of rows `first_row` on."""
        block = self.block
        above = first_row % block
        below = -(above + len(marked)) % block
        beside = self._shape[1] * block - marked.shape[1]
        if above or below or beside:
            marked = np.asarray(cv2.copyMakeBorder(marked, above, below, 0, beside, cv2.BORDER_CONSTANT, value=0))
        size = (self._shape[1], len(marked) // block)
        area = block * block
        whole = marked if area <= _EXACT_IN_BYTES else marked.astype(np.float32)
        share = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA)).reshape(size[1], size[0], -1)
        for offset in np.flatnonzero(share.any(axis=(1, 2))):
            row = first_row // block + int(offset)
            counts = np.rint(share[offset].astype(np.float32) * np.float32(area / 255)).astype(self._type)
            known = self._rows.get(row)
            self._rows[row] = counts if known is None else known + counts

    def clear(self, channel: int = 0) -> None:
        """Forget what was counted in one channel."""
        if self._shape[2] == 1:
            self._rows.clear()
        for counts in self._rows.values():
            counts[:, channel] = 0

    def total(self, channel: int = 0) -> int:
        return sum(int(counts[:, channel].sum(dtype=np.int64)) for counts in self._rows.values())

    @property
    def kept_bytes(self) -> int:
        return sum(counts.nbytes for counts in self._rows.values())

    def inside(self, outline: Outline, channel: int = 0) -> npt.NDArray[np.uint16]:
        """Counts (rows, columns) of blocks that lie wholly between the outline's spans; 0 elsewhere."""
        counts = np.zeros(self._shape[:2], np.uint16)
        for row, known in self._rows.items():
            left, right = outline.rows_span(row * self.block)
            first = -(-left // self.block)
            past = self._shape[1] if right >= self._width else right // self.block
            counts[row, first:past] = known[first:past, channel]
        return counts
