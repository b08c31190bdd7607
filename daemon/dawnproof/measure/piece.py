"""One thing on the bed, as a mask of its own size."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from .lid import Mask


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One thing on the bed: its mask, no larger than the box around it, since a page of text may lie there as
    thousands of them; `top` and `left` of the mask on the overview of that `shape` (rows, columns)."""

    mask: Mask
    top: int
    left: int
    shape: tuple[int, int]

    @classmethod
    def of(cls, mask: Mask) -> Piece:
        """The piece that a mask of the whole overview shows."""
        rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
        cut = np.ascontiguousarray(mask[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1])
        return cls(cut, int(rows[0]), int(columns[0]), (mask.shape[0], mask.shape[1]))

    @property
    def area(self) -> int:
        return int(np.count_nonzero(self.mask))

    @property
    def window(self) -> tuple[slice, slice]:
        """Rows and columns of the mask on the overview."""
        return self._slices(0)

    def with_rim(self, rim: int) -> Piece:
        """The same with so many empty pixels around the mask, as far as the overview goes."""
        rows, columns = self._slices(rim)
        mask = np.zeros((rows.stop - rows.start, columns.stop - columns.start), np.uint8)
        top, left = self.top - rows.start, self.left - columns.start
        mask[top : top + self.mask.shape[0], left : left + self.mask.shape[1]] = self.mask
        return Piece(mask, rows.start, columns.start, self.shape)

    def less(self, kept: Mask) -> Piece:
        """What is left of it, given as a mask of its own window."""
        left = Piece.of(kept)
        return replace(left, top=self.top + left.top, left=self.left + left.left, shape=self.shape)

    def frame_lines(self, layer: npt.NDArray[Any]) -> list[npt.NDArray[Any]]:
        """Of a layer over its window, the rows and columns that lie along the frame: left, right, top, bottom; an
        empty line where the window ends within the overview."""
        rows, columns = self.window
        on_frame = columns.start == 0, columns.stop == self.shape[1], rows.start == 0, rows.stop == self.shape[0]
        lines = layer[:, 0], layer[:, -1], layer[0], layer[-1]
        return [line if on else line[:0] for line, on in zip(lines, on_frame, strict=True)]

    def _slices(self, rim: int) -> tuple[slice, slice]:
        bottom, right = self.top + self.mask.shape[0], self.left + self.mask.shape[1]
        rows = slice(max(0, self.top - rim), min(self.shape[0], bottom + rim))
        return rows, slice(max(0, self.left - rim), min(self.shape[1], right + rim))
