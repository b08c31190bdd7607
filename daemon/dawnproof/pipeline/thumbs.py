"""The small pictures kept in the ledger, as arrays."""

from __future__ import annotations

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
