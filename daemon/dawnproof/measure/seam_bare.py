"""Rows in which nothing is to be seen that could be doubled: bare paper, a plain ground."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from . import seam_near
from .seam_likelihood import Floats, Rows
from .seam_strip import Strip

BARE = 0.01  # of full scale: the change over PROMISED_PX that most columns stay below where nothing is to be seen
BARE_SHARE = 95.0


def grey_of(strip: Strip, rows: range) -> Rows:
    """The strip's grey values in rows that lie within one of its chunks, 0..1."""
    row = max(start for start in strip.greys if start <= rows.start)
    grey = strip.greys[row][rows.start - row : rows.stop - row]
    return np.asarray(grey, dtype=np.float32) / np.float32(np.iinfo(grey.dtype).max)


def changes(strip: Strip, blocks: list[range], columns: npt.NDArray[np.int64]) -> Floats:
    """How much the picture changes over PROMISED_PX in each block of rows, where it changes most."""
    if not len(columns):
        return np.zeros(len(blocks))
    first, past, step = int(columns[0]) - strip.first, int(columns[-1]) + 1 - strip.first, int(seam_near.PROMISED_PX)
    calm = [cv2.GaussianBlur(grey_of(strip, rows), (0, 0), 1.0) for rows in blocks]
    steps = [np.abs(grey[:, first + step : past] - grey[:, first : past - step]) for grey in calm]
    return np.array([np.percentile(each, BARE_SHARE) if each.size else 0.0 for each in steps])
