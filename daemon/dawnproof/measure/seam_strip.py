"""What is kept of a scan while its bands go by: narrow strips of columns, reduced block by block to lag products."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from .band import Band, Pixels
from .doubling import Search, lag_products
from .seam_likelihood import Rows, even_rows
from .whiten import whitened

BLOCK_ROWS = 64  # rows that give one piece of evidence
CHUNK_ROWS = 128  # rows whitened together
MEAN = np.full((1, 3), 1 / 3, np.float32)  # each channel has noise of its own: their mean holds less than a luminance
TONE_ROWS = 16  # rows that give one mean tone a column


@dataclass(frozen=True)
class Piece:
    """Evidence of BLOCK_ROWS rows from `row`: products of whitened columns (lags, columns) in half precision, the
    mean square of the whitened values, and how well two pictures of the same content would agree (0..1)."""

    row: int
    products: npt.NDArray[np.float16]
    energy: float
    agreement: float


@dataclass
class Strip:
    """Columns `first` to `past` of the scan; every `every`-th chunk of rows is looked at. `greys`: the chunks looked
    at, by first row; with `keep_all` every chunk, and `tones` (n, columns, channels), mean values of TONE_ROWS rows."""

    first: int
    past: int
    search: Search
    every: int = 1
    keep_all: bool = False
    pieces: list[Piece] = field(default_factory=list)
    greys: dict[int, Pixels] = field(default_factory=dict)
    tones: list[npt.NDArray[np.float32]] = field(default_factory=list)
    tone_rows: list[int] = field(default_factory=list)
    _waiting: list[Pixels] = field(default_factory=list)
    _row: int = 0  # first row of what is waiting
    _even: dict[tuple[int, int], Rows] = field(default_factory=dict)

    @property
    def columns(self) -> range:
        """Columns of the scan for which the strip's evidence is complete."""
        return range(self.first + self.search.margin, self.past - self.search.margin)

    def see(self, band: Band) -> None:
        """Takes the strip's columns of the band; works off every full chunk."""
        self._waiting.append(band.pixels[:, self.first : self.past].copy())
        while sum(len(part) for part in self._waiting) >= CHUNK_ROWS:
            rows = self._waiting[0] if len(self._waiting) == 1 else np.concatenate(self._waiting)
            self._waiting = [rows[CHUNK_ROWS:]]
            self._work_off(rows[:CHUNK_ROWS])

    def finish(self) -> None:
        """Works off the rest at the bottom of the scan."""
        if self._waiting:
            rows = np.concatenate(self._waiting)
            self._waiting = []
            if len(rows) >= BLOCK_ROWS:
                self._work_off(rows[: len(rows) // BLOCK_ROWS * BLOCK_ROWS])

    def chunks_in(self, rows: range) -> list[int]:
        """First rows of the chunks that begin in `rows` and hold a block of them at least."""
        return [row for row in self.greys if row in rows and row + BLOCK_ROWS <= rows.stop]

    def even(self, row: int, past: int | None = None) -> Rows:
        """The rows from `row` to `past` or the end of their chunk as `even_rows`; a strip that keeps all is asked for
        the same ones again and again."""
        chunk = row if row in self.greys else max(start for start in self.greys if start <= row)
        grey = self.greys[chunk][row - chunk : None if past is None else past - chunk]
        rows = self._even.get((row, len(grey)))
        if rows is None:
            rows = even_rows(grey.astype(np.float32))
            if self.keep_all:
                self._even[row, len(grey)] = rows
        return rows

    def _work_off(self, chunk: Pixels) -> None:
        row, self._row = self._row, self._row + len(chunk)
        looked_at = row // CHUNK_ROWS % self.every == 0
        if not looked_at and not self.keep_all:
            return
        scale = np.float32(1.0 / np.iinfo(chunk.dtype).max)
        if self.keep_all:
            whole = chunk[: len(chunk) // TONE_ROWS * TONE_ROWS]
            means = whole.reshape(-1, TONE_ROWS, *chunk.shape[1:]).mean(axis=1, dtype=np.float32) * scale
            self.tones.extend(means)
            self.tone_rows.extend(range(row, row + len(whole), TONE_ROWS))
        grey = chunk[:, :, 0] if chunk.shape[2] == 1 else cv2.transform(np.ascontiguousarray(chunk), MEAN)
        self.greys[row] = np.ascontiguousarray(grey)
        if not looked_at:
            return
        flat, agreement = whitened(np.asarray(grey, dtype=np.float32) * scale)
        for top in range(0, len(flat) - BLOCK_ROWS + 1, BLOCK_ROWS):
            block = flat[top : top + BLOCK_ROWS]
            products = lag_products(block, self.search).astype(np.float16)
            self.pieces.append(Piece(row + top, products, float(np.mean(block * block)), agreement))


def lay_strips(
    seam: tuple[int, int], width_px: int, search: Search, every: int, most: int = 4
) -> tuple[Strip, list[Strip]]:
    """The strip for a stitch that lies within columns `seam` (first, past), and strips to compare it with: its
    neighbours first, then evenly over the width."""
    margin = search.margin
    least = seam[1] - seam[0] + 2 * margin
    spare = cv2.getOptimalDFTSize(least) - least  # a width with a large prime factor takes five times as long
    first, past = seam[0] - margin - spare // 2, seam[1] + margin + spare - spare // 2
    own = Strip(max(first, 0), min(past, width_px), search, every, keep_all=True)
    size = min(own.past - own.first, width_px)
    left = [(p - size, p) for p in range(own.first + margin, size, -(size - 2 * margin))]
    right = [(p, p + size) for p in range(own.past - margin, width_px - size, size - 2 * margin)]
    others = [place for pair in zip(left, right, strict=False) for place in pair]
    others += left[len(right) :] + right[len(left) :]
    if not others:
        others = [(0, own.first + margin), (own.past - margin, width_px)]
    chosen = others[:2] + _evenly(others[2:], most - 2)
    return own, [Strip(a, b, search, every) for a, b in chosen if b - a > 2 * margin + 16]


def _evenly(places: list[tuple[int, int]], most: int) -> list[tuple[int, int]]:
    if len(places) <= most:
        return places
    return [places[round(i)] for i in np.linspace(0, len(places) - 1, most)]


def whole_width(width_px: int, search: Search, every: int, size: int = 512) -> list[Strip]:
    """Strips whose complete evidence covers the whole width."""
    usable = size - 2 * search.margin
    firsts = range(0, max(width_px - 2 * search.margin, 1), usable)
    return [
        Strip(a, min(a + size, width_px), search, every)
        for a in firsts
        if min(a + size, width_px) - a > 2 * search.margin + 16
    ]
