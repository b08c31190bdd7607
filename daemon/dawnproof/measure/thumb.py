"""A small grey picture of the whole scan, made while the bands go by: tells one picture from another."""

from __future__ import annotations

from typing import ClassVar

import cv2
import numpy as np
import numpy.typing as npt

from ..model import Frame
from .band import Band

LONG_SIDE_PX = 256
ROWS_IN_ONE = 8  # rows of the scan averaged into one of the thumb, spread evenly: enough against noise


class Thumb:
    """Grey, 8 bit, long side at most 256 px, area-averaged; smaller scans keep their size."""

    name: ClassVar[str] = "thumb"

    def __init__(self, frame: Frame) -> None:
        self._scale = max(1.0, max(frame.width_px, frame.height_px) / LONG_SIDE_PX)
        self._columns = max(1, round(frame.width_px / self._scale))
        self._rows = max(1, round(frame.height_px / self._scale))
        self._rows_each = frame.height_px / self._rows
        self._step = max(1, int(self._scale // ROWS_IN_ONE))
        self._sum = np.zeros((self._rows, self._columns), np.float64)
        self._seen = np.zeros(self._rows, np.int64)
        self._full = 255.0 if frame.depth_bits == 8 else 65535.0

    def see(self, band: Band) -> None:
        first = -band.first_row % self._step
        rows = band.grey[first :: self._step]
        if rows.shape[0] == 0:
            return
        narrow = cv2.resize(rows.astype(np.float32), (self._columns, rows.shape[0]), interpolation=cv2.INTER_AREA)
        place = band.first_row + first + self._step * np.arange(rows.shape[0])
        at = np.minimum((place / self._rows_each).astype(np.int64), self._rows - 1)
        np.add.at(self._sum, at, np.asarray(narrow))
        np.add.at(self._seen, at, 1)

    def picture(self) -> npt.NDArray[np.uint8]:
        """(rows, columns) uint8; rows never seen are black."""
        mean = self._sum / np.maximum(self._seen, 1)[:, None] / self._full
        return np.rint(np.clip(mean, 0.0, 1.0) * 255.0).astype(np.uint8)
