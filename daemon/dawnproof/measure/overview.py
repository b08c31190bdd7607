"""A small picture of the whole scan, made of its bands: every pixel the mean of a block of the scan."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from ..model import Frame
from .band import Band

FINEST_PPI = 150.0
MOST_PIXELS = 4_500_000


def block_size(frame: Frame) -> int:
    """Side of the block, in pixels of the scan, that one pixel of the overview stands for."""
    size = 1
    ppi = max(frame.ppi_x or 300.0, frame.ppi_y or 300.0)
    while ppi / size > FINEST_PPI or frame.width_px * frame.height_px / size**2 > MOST_PIXELS:
        size += 1
    return max(1, min(size, frame.width_px // 8, frame.height_px // 8))


class Overview:
    """Shown every band from top to bottom; a last block that is not full is left out, at most a block at the right
    and at the bottom."""

    def __init__(self, frame: Frame) -> None:
        self.block = block_size(frame)
        self.columns = max(1, frame.width_px // self.block)
        self._left_over: npt.NDArray[Any] | None = None
        self._rows: list[npt.NDArray[Any]] = []

    def see(self, band: Band) -> None:
        pixels = band.pixels[:, : self.columns * self.block]
        if self._left_over is not None:
            missing = self.block - len(self._left_over)
            head = np.concatenate((self._left_over, pixels[:missing]))
            if len(head) < self.block:
                self._left_over = head
                return
            self._shrink(head)
            pixels = pixels[missing:]
        whole = len(pixels) // self.block * self.block
        if whole:
            self._shrink(pixels[:whole])
        self._left_over = pixels[whole:].copy() if whole < len(pixels) else None

    def picture(self) -> npt.NDArray[np.float32]:
        """(rows, columns, channels), 0 to 1 of the type's range, in the file's own encoding."""
        if not self._rows:
            return np.zeros((0, self.columns, 1), np.float32)
        stacked = np.concatenate(self._rows)
        picture = stacked.astype(np.float32)
        picture *= np.float32(1 / np.iinfo(stacked.dtype).max)
        return picture

    def _shrink(self, pixels: npt.NDArray[Any]) -> None:
        size = (self.columns, len(pixels) // self.block)
        small = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA))
        self._rows.append(small.reshape(size[1], size[0], -1))
