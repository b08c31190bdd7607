"""How strongly a strip repeats itself across each of its columns, by displacement: the raw evidence of doubling.

Where a surface is lifted by D px at a stitch in column c, both views show the same D columns: [c - D, c) appears again
as [c, c + D). In a blend zone both views are mixed, and the repeat at lag D is as strong as the share of the right view
at x times that of the left one at x - D. Products of whitened columns at each lag, weighted by that expectation, are
the best linear evidence for (c, D, width of the blend zone); what they amount to by chance is learnt from columns
where no stitch is.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from . import fourier
from .whiten import Field, between_columns

Indices = npt.NDArray[np.int64]
Products = npt.NDArray[np.float32]  # (lags, columns): column x times column x - lag, summed over rows
Evidence = npt.NDArray[np.float32]  # (blends, lags, columns): for a stitch whose right view begins at that column
FINE_UP_TO_PX = 16  # half-pixel lags up to here
TILE_COLUMNS = 64  # only columns within reach of one another are multiplied, a tile at a time


@dataclass(frozen=True)
class Search:
    """What is looked for: displacements and widths of the blend zone, px."""

    lags_px: tuple[float, ...]
    blends_px: tuple[float, ...]

    @property
    def margin(self) -> int:
        """Columns at either end of a strip where the evidence is incomplete."""
        return int(np.ceil(max(self.lags_px) + max(self.blends_px) / 2)) + 2


def search_up_to(most_px: float, blends_px: tuple[float, ...]) -> Search:
    """All displacements from 1 px to `most_px`."""
    fine = np.arange(2, 2 * FINE_UP_TO_PX) / 2
    return Search((*fine.tolist(), *range(FINE_UP_TO_PX, int(most_px) + 1)), blends_px)


def lag_products(field: Field, search: Search) -> Products:
    """Products of whitened columns summed over the rows of the field; zero where the partner is outside.

    What is left of the field's own correlation is taken off in proportion to the energy of the two columns, so that a
    column that is merely louder than others is no evidence.
    """
    columns = field.shape[1]
    tiles, reach = -(-columns // TILE_COLUMNS), int(max(search.lags_px))
    padded = np.zeros((3, len(field), reach + tiles * TILE_COLUMNS), np.float32)
    padded[0, :, reach : reach + columns] = padded[1, :, :columns] = field
    padded[2, :, :columns] = between_columns(field)
    windows = sliding_window_view(padded[0], reach + TILE_COLUMNS, axis=1)[:, ::TILE_COLUMNS]  # (rows, tiles, window)
    own = padded[1:, :, : tiles * TILE_COLUMNS].reshape(2, len(field), tiles, TILE_COLUMNS)
    every = np.matmul(own.transpose(0, 2, 3, 1), windows.transpose(1, 0, 2))  # (2, tiles, columns, window)
    energy = np.einsum("yx,yx->x", field, field)
    partner, place, inside = _pairs(search.lags_px, columns)
    found = every.ravel()[place] * inside
    shared = 0.5 * (energy + energy[partner]) * inside
    usual = found.sum(axis=1) / np.maximum(shared.sum(axis=1), 1e-12)
    return np.asarray(found - shared * usual[:, None], np.float32)


@lru_cache(maxsize=8)
def _pairs(lags_px: tuple[float, ...], columns: int) -> tuple[Indices, Indices, npt.NDArray[np.float32]]:
    """For every lag and column: the partner to its left, the place of both in the products of each tile's columns, and
    of those between, with the columns of its window, and 1 where the partner is inside."""
    column, lag = np.arange(columns), np.asarray(lags_px)[:, None]
    partner = column - lag.astype(np.int64)
    inside = (partner >= 0).astype(np.float32)
    partner = np.maximum(partner, 0)
    between = (lag % 1 != 0).astype(np.int64)
    reach = int(max(lags_px))
    tiles, window = -(-columns // TILE_COLUMNS), reach + TILE_COLUMNS
    in_window = partner + reach - column // TILE_COLUMNS * TILE_COLUMNS
    return partner, ((between * tiles * TILE_COLUMNS + column) * window + in_window), inside


def repeat(lag_px: float, blend_px: float, columns: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """How strongly content of `lag_px` further left repeats in `columns` (centres, from the stitch): 0..1."""
    return np.asarray(right_share(columns, blend_px) * (1.0 - right_share(columns - lag_px, blend_px)))


def right_share(from_seam: npt.NDArray[np.float64], blend_px: float) -> npt.NDArray[np.float64]:
    """Share of the right view at a distance from the stitch: a cut, or a linear rise over the blend zone."""
    if blend_px <= 0:
        return (from_seam >= 0).astype(np.float64)
    return np.clip(from_seam / blend_px + 0.5, 0.0, 1.0)


def templates(search: Search) -> npt.NDArray[np.float32]:
    """(blends, lags, 2 * margin + 1): all templates around the stitch's first right column."""
    columns = np.arange(-search.margin, search.margin + 1, dtype=np.float64) + 0.5
    table = np.array([[repeat(lag, blend, columns) for lag in search.lags_px] for blend in search.blends_px])
    table /= np.sqrt((table**2).sum(axis=-1, keepdims=True))
    return np.asarray(table, dtype=np.float32)


@lru_cache(maxsize=8)
def _spectra(search: Search, columns: int) -> tuple[int, npt.NDArray[np.complex64]]:
    length = fourier.next_fast_len(columns + 2 * search.margin, real=True)
    shifted = np.zeros((len(search.blends_px), len(search.lags_px), length), np.float32)
    shifted[..., (-np.arange(-search.margin, search.margin + 1)) % length] = templates(search)
    return length, fourier.rfft(shifted, axis=-1)


def evidence(products: Products, search: Search) -> Evidence:
    """Evidence for a stitch at each column that has a full margin: (blends, lags, columns - 2 * margin)."""
    columns = products.shape[-1]
    length, spectra = _spectra(search, columns)
    matched = fourier.irfft(fourier.rfft(products, n=length, axis=-1)[None] * spectra, n=length, axis=-1)
    return np.asarray(matched[..., search.margin : columns - search.margin], dtype=np.float32)
