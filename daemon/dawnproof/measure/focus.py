"""Sharpness by zone, against the scan's own best.

An edge of a given contrast holds energy at coarse and at fine detail; blur takes the fine and leaves the coarse. So a
zone is judged by the ratio of fine to coarse gradient energy, noise taken off, and only where it has coarse detail to
begin with: what has none is not soft but empty. The ratio is told as the edge response (1 / width of an edge) against
that of the scan's best zones, through the Gaussian blur that would explain the loss:
    ln(best / ratio) = 4 pi^2 sigma^2 (fine^2 - coarse^2),    response = own / sqrt(own^2 + sigma^2)
with the frequencies of the two filters in cycles per pixel and the width `own` of a sharp scan's edge.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

import cv2
import numpy as np
import numpy.typing as npt

from ..model import Box, Frame, Mark, Reading
from .band import Band, Pixels
from .edge_energy import COARSE_CYCLES, COARSE_NOISE, FINE_CYCLES, FINE_NOISE, LEAST_ROWS, edge_energies
from .outline import Outline

Grid = npt.NDArray[np.float64]  # (zones down, zones across)

MOST_CELLS = 72  # along the longer side
LEAST_CELL_PX = 32
SLABS_IN_CELL = 1.0
ZONES = 12  # along the longer side of the work
LEAST_CELLS_IN_ZONE = 3
LEAST_ZONES = 6
OWN_PX = 0.85  # Gaussian width of a sharp scan's edge: pixel aperture and a good lens
BEST_SHARE = 0.85  # quantile of the zones taken for the scan's best
DETAIL = 0.003  # share of full scale: coarse contrast below this is an empty place
DETAIL_8_BIT = 0.004  # whole steps of 8 bits are no detail
EDGE_PX = 10  # inside the work's edge that are left out
ABOVE_NOISE = 0.6  # coarse energy over what the noise alone would give
QUIET_SHARE, NOISE_TIMES_USUAL = 0.25, 1.5  # noise beyond that is detail taken for noise
SOFT = 0.6  # below it a zone is named as a mark


class Focus:
    """Reading `softest` (share of the scan's own best edge response, worst judged zone, with its place)."""

    name: ClassVar[str] = "focus"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._cell = max(LEAST_CELL_PX, -(-max(frame.width_px, frame.height_px) // MOST_CELLS))
        self._shape = (frame.height_px // self._cell, frame.width_px // self._cell)
        self._sums = np.zeros((3, *self._shape))
        self._pixels = np.zeros(self._shape)
        self._next = 0
        self._soft: tuple[Mark, ...] = ()

    def see(self, band: Band) -> None:
        if min(self._shape) == 0:
            return
        top = 0
        while top + LEAST_ROWS <= band.rows:
            row = band.first_row + top
            if row >= self._next:
                self._take(row, band.grey[top : top + LEAST_ROWS])
                self._next = row + max(LEAST_ROWS, int(self._cell / SLABS_IN_CELL))
            top += max(1, min(LEAST_ROWS, self._next - row)) if self._next > row else LEAST_ROWS

    def _take(self, row: int, slab: Pixels) -> None:
        down = (row + LEAST_ROWS // 2) // self._cell
        if down < self._shape[0]:
            energies = edge_energies(slab[:, : self._shape[1] * self._cell], self._cell)
            self._sums[:, down] += np.stack([energies.fine, energies.coarse, energies.noise])
            self._pixels[down] += 1

    def readings(self, outline: Outline) -> Iterable[Reading]:
        response, boxes = self._zones(outline)
        judged = np.isfinite(response)
        self._soft = ()
        if int(judged.sum()) < LEAST_ZONES:
            why = "too little detail to compare the sharpness of zones"
            return (Reading(self.name, "softest", None, "share", why=why),)
        smooth = _with_neighbours(response)
        self._soft = self._marks(smooth, boxes)
        at = np.unravel_index(np.nanargmin(smooth), smooth.shape)
        value = round(float(min(1.0, smooth[at])), 3)
        box = boxes[at]
        where = self._frame.where(box.x, box.y, box.width, box.height)
        sure = 0.9 if judged.mean() > 0.5 else 0.7
        return (Reading(self.name, "softest", value, "share", sure=sure, where=where, certain=False),)

    def marks(self) -> tuple[Mark, ...]:
        """Soft zones; after `readings`."""
        return self._soft

    def _zones(self, outline: Outline) -> tuple[Grid, npt.NDArray[np.object_]]:
        """Edge response of each zone against the best (NaN: nothing to judge), and the zones' places."""
        work = outline.box
        if min(self._shape) == 0:
            return np.full((1, 1), np.nan), np.full((1, 1), work, object)
        left, top = -(-work.x // self._cell), -(-work.y // self._cell)
        right, bottom = work.right // self._cell, work.bottom // self._cell
        cells, weight = self._cells(self._inside(outline))
        cells, weight = cells[top:bottom, left:right], weight[top:bottom, left:right]
        if min(cells.shape) < 2:
            return np.full((1, 1), np.nan), np.full((1, 1), work, object)
        size = max(1, round(max(cells.shape) / ZONES))
        shape = (-(-cells.shape[0] // size), -(-cells.shape[1] // size))
        ratio, boxes = np.full(shape, np.nan), np.empty(shape, object)
        for i in range(shape[0]):
            for k in range(shape[1]):
                part = cells[i * size : (i + 1) * size, k * size : (k + 1) * size]
                known = np.isfinite(part)
                enough = 2 * part.size >= size * size and known.sum() >= min(LEAST_CELLS_IN_ZONE, size * size)
                if enough:
                    of_zone = weight[i * size : (i + 1) * size, k * size : (k + 1) * size]
                    ratio[i, k] = _weighted_median(part[known], of_zone[known])
                boxes[i, k] = self._box(left + k * size, top + i * size, part.shape)
        return _response(ratio), boxes

    def _cells(self, inside: npt.NDArray[np.bool_]) -> tuple[Grid, Grid]:
        """Logarithm of fine over coarse energy, NaN where there is no coarse detail; and the coarse contrast.

        Of each cell with the cells around it: the coarse filter is wide, and a line just outside a cell would give it
        coarse energy and nothing fine.
        """
        mean = self._sums / np.maximum(self._pixels, 1) * inside
        around = np.maximum(cv2.blur(inside.astype(np.float64), (3, 3)), 1e-9)
        fine, coarse, noise = (np.asarray(cv2.blur(energy, (3, 3))) / around for energy in mean)
        if inside.any():
            noise = np.minimum(noise, NOISE_TIMES_USUAL * np.quantile(noise[inside], QUIET_SHARE))
        fine, coarse = fine - FINE_NOISE * noise, coarse - COARSE_NOISE * noise
        least = DETAIL if self._frame.depth_bits > 8 else DETAIL_8_BIT
        there = inside & (coarse > least**2) & (coarse > ABOVE_NOISE * noise)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(there, np.log(np.maximum(fine, 1e-4 * coarse) / coarse), np.nan)
        return ratio, np.sqrt(np.maximum(coarse, 0.0))

    def _inside(self, outline: Outline) -> npt.NDArray[np.bool_]:
        """Cells that lie wholly inside the work: its edge is sharper than anything on it needs to be."""
        inside = np.zeros(self._shape, bool)
        left = np.arange(self._shape[1]) * self._cell
        for down in range(self._shape[0]):
            spans = outline.spans_of(down * self._cell, self._cell)
            first, past = int(spans[:, 0].max()), int(spans[:, 1].min())
            first += EDGE_PX if first > 0 else 0
            past -= EDGE_PX if past < self._frame.width_px else 0
            inside[down] = (left >= first) & (left + self._cell <= past)
        return inside

    def _box(self, column: int, row: int, shape: tuple[int, ...]) -> Box:
        return Box(column * self._cell, row * self._cell, shape[1] * self._cell, shape[0] * self._cell)

    def _marks(self, response: Grid, boxes: npt.NDArray[np.object_]) -> tuple[Mark, ...]:
        soft = []
        for at in zip(*np.nonzero(response < SOFT), strict=True):
            box = boxes[at]
            soft.append(
                Mark(
                    "soft",
                    round(self._frame.mm_x(box.x + box.width / 2), 3),
                    round(self._frame.mm_y(box.y + box.height / 2), 3),
                    round(self._frame.mm_x(box.width), 3),
                    round(float(response[at]), 3),
                )
            )
        return tuple(soft)


def _weighted_median(values: Grid, weight: Grid) -> float:
    order = np.argsort(values)
    sums = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(sums, sums[-1] / 2)])


def _response(ratio: Grid) -> Grid:
    """Edge response against the best zones, from logarithms of fine over coarse energy."""
    known = ratio[np.isfinite(ratio)]
    if not len(known):
        return ratio
    best = float(np.quantile(known, BEST_SHARE))
    blur = np.maximum(best - ratio, 0.0) / (4 * np.pi**2 * (FINE_CYCLES**2 - COARSE_CYCLES**2))
    return np.asarray(OWN_PX / np.sqrt(OWN_PX**2 + blur))


def _with_neighbours(response: Grid) -> Grid:
    """Median of each judged zone with the judged zones around it: a soft place is larger than one zone."""
    around = np.pad(response, 1, constant_values=np.nan)
    views = np.lib.stride_tricks.sliding_window_view(around, (3, 3)).reshape(*response.shape, 9)
    known = np.isfinite(views).sum(axis=2)
    with np.errstate(all="ignore"):
        middle = np.where(known > 0, np.nanmedian(np.where(known[..., None] > 0, views, 1.0), axis=2), np.nan)
    return np.where(np.isfinite(response), middle, np.nan)


CHECK = Focus
