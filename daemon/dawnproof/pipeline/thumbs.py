"""The small pictures kept in the ledger, as arrays."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from ..model import MM_PER_INCH, Measured


def thumb_of(measured: Measured) -> npt.NDArray[np.uint8]:
    """(rows, columns) grey; one black pixel where none was kept."""
    if not measured.thumb:
        return np.zeros((1, 1), np.uint8)
    picture = cv2.imdecode(np.frombuffer(measured.thumb, np.uint8), cv2.IMREAD_GRAYSCALE)
    return np.zeros((1, 1), np.uint8) if picture is None else np.asarray(picture, np.uint8)


def thumb_mm(measured: Measured) -> float:
    """Millimetres of the bed one pixel of the thumb stands for."""
    columns: int = thumb_of(measured).shape[1]
    return measured.width_px / columns * MM_PER_INCH / (measured.ppi_x or 300.0)


def small_jpeg(path: Path, long_side: int = 520) -> bytes:
    """A proof made small enough for a page of many; empty where it cannot be read."""
    picture = cv2.imread(str(path), cv2.IMREAD_REDUCED_COLOR_4)
    if picture is None:
        return b""
    scale = min(1.0, long_side / max(picture.shape[:2]))
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    done, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 82])
    return bytes(data) if done else b""
