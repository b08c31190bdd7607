"""Evenness of the light, and its level, from a scan of the bed's white reference.

Evenness as non-uniformity: (brightest - darkest) / brightest of the light in per cent, in the linear domain, of a
smooth surface through the means of many cells, so that noise and dust do not count. (FADGI 2016 grades < 8, 5, 3,
1 % by star and gives no formula; the smooth surface is this house's choice.)
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

import cv2
import numpy as np
import numpy.typing as npt

from ..model import Box, Frame, Reading, Role
from .band import Band, Pixels
from .curve import tone_curve
from .outline import Outline

Field = npt.NDArray[np.float64]  # (cells down, cells across)

CELLS = 40  # across and along
LEAST_CELL_PX = 8
LEAST_CELLS = 6
DEGREE = 3
MARGIN = 0.02  # of the sheet's width and height, left out: its edge and the lid's shadow
REFITS = 3  # dust and scratches leave the fit
FAR_OFF = 4.0  # times the usual residual
COLOURS = ("red", "green", "blue")


class Light:
    """Reading `evenness` (%, worst channel), and `level_red`, `level_green`, `level_blue` (% of full scale, linear;
    `level_grey` of a grey scan) for the bed's trend. No readings on scans that are no reference."""

    name: ClassVar[str] = "light"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._down = max(1, min(CELLS, frame.height_px // LEAST_CELL_PX))
        self._across = max(1, min(CELLS, frame.width_px // LEAST_CELL_PX))
        self._sum = np.zeros((self._down, self._across, frame.channels))
        self._rows = np.zeros(self._down)
        self._full = 255.0 if frame.depth_bits == 8 else 65535.0

    def see(self, band: Band) -> None:
        if self._frame.role is not Role.REF:
            return
        cell = (np.arange(band.first_row, band.first_row + band.rows) * self._down) // self._frame.height_px
        for row in np.unique(cell):
            part = band.pixels[cell == row]
            self._sum[row] += _narrow(part, self._across).reshape(self._across, -1) * len(part)
            self._rows[row] += len(part)

    def readings(self, outline: Outline) -> Iterable[Reading]:
        if self._frame.role is not Role.REF:
            return ()
        names = COLOURS if self._frame.channels == 3 else ("grey",)
        cells = self._light(outline.box)
        if min(cells.shape[:2]) < LEAST_CELLS:
            why = "the reference is too small to judge the light"
            return (
                Reading(self.name, "evenness", None, "%", why=why),
                *(Reading(self.name, f"level_{name}", None, "%", why=why) for name in names),
            )
        levels = [
            Reading(self.name, f"level_{name}", round(float(np.median(cells[..., k])) * 100, 3), "%")
            for k, name in enumerate(names)
        ]
        return (self._evenness(cells), *levels)

    def _light(self, sheet: Box) -> npt.NDArray[np.float64]:
        """Linear light of the cells that lie on the sheet, (down, across, channels)."""
        mean = self._sum / np.maximum(self._rows, 1)[:, None, None] / self._full
        down = _inside(sheet.y, sheet.height, self._frame.height_px, self._down)
        across = _inside(sheet.x, sheet.width, self._frame.width_px, self._across)
        return tone_curve(self._frame.icc).linear(mean[down, across])

    def _evenness(self, cells: npt.NDArray[np.float64]) -> Reading:
        if np.median(cells) <= 0.0:
            return Reading(self.name, "evenness", None, "%", why="the reference is black")
        if np.median(cells) >= 0.999:
            why = "the reference is clipped: its light cannot be judged"
            return Reading(self.name, "evenness", None, "%", why=why)
        worst = 0.0
        for channel in range(cells.shape[2]):
            surface = _smooth(cells[..., channel])
            worst = max(worst, float((surface.max() - surface.min()) / surface.max()))
        return Reading(self.name, "evenness", round(worst * 100, 3), "%", sure=0.95)


def _narrow(part: Pixels, across: int) -> npt.NDArray[np.float64]:
    """Means over all rows and over `across` equal widths, (across, channels)."""
    column = part.mean(axis=0, dtype=np.float64).astype(np.float32)[None]
    return np.asarray(cv2.resize(column, (across, 1), interpolation=cv2.INTER_AREA), np.float64)


def _inside(start: int, length: int, whole: int, cells: int) -> slice:
    """The cells that lie wholly on the sheet, its margin left out; all of them where the sheet fills the frame."""
    margin = MARGIN * length if length < whole else 0.0
    first = int(np.ceil((start + margin) * cells / whole - 1e-9))
    past = int(np.floor((start + length - margin) * cells / whole + 1e-9))
    return slice(first, max(past, first))


def _smooth(cells: Field) -> Field:
    """A polynomial surface through the cells, dust left out, evaluated out to the edges of the outermost cells."""
    down, across = cells.shape
    y = (np.arange(down) + 0.5) / down * 2 - 1
    x = (np.arange(across) + 0.5) / across * 2 - 1
    terms = _terms(y, x)
    keep = np.ones(down * across, bool)
    values = cells.ravel()
    for _ in range(REFITS):
        weights, *_rest = np.linalg.lstsq(terms[keep], values[keep], rcond=None)
        off = np.abs(values - terms @ weights)
        keep = off <= FAR_OFF * 1.4826 * np.median(off) + 1e-9
    edges = _terms(np.linspace(-1, 1, down + 1), np.linspace(-1, 1, across + 1))
    return np.asarray(edges @ weights)[:, None]


def _terms(y: npt.NDArray[np.float64], x: npt.NDArray[np.float64]) -> Field:
    rows, columns = (np.polynomial.legendre.legvander(values, DEGREE) for values in (y, x))
    grid = np.einsum("ia,jb->ijab", rows, columns).reshape(len(y) * len(x), DEGREE + 1, DEGREE + 1)
    low = np.add.outer(np.arange(DEGREE + 1), np.arange(DEGREE + 1)) <= DEGREE
    return np.asarray(grid[:, low])


CHECK = Light
