"""Exact counts of marked pixels by block: bounded memory for a whole scan, cut by the work's outline afterwards."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from .outline import Outline

_EXACT_IN_BYTES = 254  # pixels a block may hold for 255 * share to give back the count


class BlockCounts:
    """Counts of marked pixels in blocks of `block` by `block` pixels of a scan of the given size.

    `block` is at most 255. The last column and row of blocks may be partial; nothing is left out.
    """

    def __init__(self, width_px: int, height_px: int, block: int) -> None:
        self.block = block
        self._width = width_px
        self._shape = (-(-height_px // block), -(-width_px // block))
        self._type = np.uint8 if block * block <= 255 else np.uint16
        self._rows: dict[int, npt.NDArray[np.unsignedinteger]] = {}

    def add(self, first_row: int, marked: npt.NDArray[Any]) -> None:
        """Count the marked pixels (uint8, 0 or 255) of rows `first_row` on."""
        block = self.block
        above = first_row % block
        below = -(above + len(marked)) % block
        beside = self._shape[1] * block - marked.shape[1]
        padded = cv2.copyMakeBorder(marked, above, below, 0, beside, cv2.BORDER_CONSTANT, value=0)
        size = (self._shape[1], len(padded) // block)
        area = block * block
        if area <= _EXACT_IN_BYTES:
            share = cv2.resize(padded, size, interpolation=cv2.INTER_AREA)
        else:
            share = cv2.resize(padded.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        counts = np.rint(np.asarray(share, np.float32) * np.float32(area / 255)).astype(self._type)
        counts = counts.reshape(size[1], size[0])
        for offset in np.flatnonzero(counts.any(axis=1)):
            row = first_row // block + int(offset)
            known = self._rows.get(row)
            self._rows[row] = counts[offset].copy() if known is None else known + counts[offset]

    def clear(self) -> None:
        self._rows.clear()

    @property
    def total(self) -> int:
        return sum(int(row.sum()) for row in self._rows.values())

    @property
    def kept_bytes(self) -> int:
        return sum(row.nbytes for row in self._rows.values())

    @property
    def empty(self) -> bool:
        return not self._rows

    def inside(self, outline: Outline) -> npt.NDArray[np.uint16]:
        """Counts (rows, columns) of blocks that lie wholly between the outline's spans; 0 elsewhere."""
        counts = np.zeros(self._shape, np.uint16)
        for row, known in self._rows.items():
            left, right = outline.rows_span(row * self.block)
            first = -(-left // self.block)
            past = self._shape[1] if right >= self._width else right // self.block
            counts[row, first:past] = known[first:past]
        return counts
