"""From places, gains and cuts to pixels, a rectangle at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from .cut import at, ramp
from .parts import Cut, Pixels
from .resample import Mover

Floats = npt.NDArray[np.float64]
TILE_COLUMNS = 1024
_SHARE_FLOOR = 1e-3


@dataclass(frozen=True)
class Layer:
    """One part as it goes into the joined image: moved by `mover`, its values through `tables`, one per channel,
    None where no gain is needed."""

    mover: Mover
    tables: tuple[npt.NDArray[Any] | None, ...]

    def block(self, left: int, top: int, width: int, height: int) -> Pixels:
        found = self.mover.block(left, top, width, height)
        if all(table is None for table in self.tables):
            return found
        planes = [found[:, :, c] if t is None else t[found[:, :, c]] for c, t in enumerate(self.tables)]
        return np.stack(planes, axis=2)


@dataclass(frozen=True)
class Mosaic:
    """Layers in rows, the cuts between neighbours of a row (`within`, upright) and between rows (`between`)."""

    layers: tuple[Layer, ...]
    rows: tuple[tuple[int, ...], ...]
    within: tuple[tuple[Cut, ...], ...]
    between: tuple[Cut, ...]
    feather_px: float

    def row_shares(self, row: int, u: Floats, v: Floats) -> list[Floats]:
        """(rows, columns) share of each part of a row at columns u, rows v; they sum to 1 where any part is."""
        parts, cuts = self.rows[row], self.within[row]
        lines = [at(cut.first, cut.path, v)[:, None] for cut in cuts]
        shares, present = [], []
        for place, part in enumerate(parts):
            has = self._present(part, u, v)
            share = has.astype(np.float64)
            if place > 0:
                share = share * ramp(u[None, :] - lines[place - 1], self.feather_px)
            if place < len(cuts):
                share = share * ramp(lines[place] - u[None, :], self.feather_px)
            shares.append(share)
            present.append(has)
        return _evened(shares, present)

    def _present(self, part: int, u: Floats, v: Floats) -> npt.NDArray[np.bool_]:
        left, top, right, bottom = self.layers[part].mover.frame()
        if u[-1] < left - 16 or u[0] > right + 16 or v[-1] < top - 16 or v[0] > bottom + 16:
            return np.zeros((len(v), len(u)), bool)
        return self.layers[part].mover.covers(u[None, :], v[:, None])

    def shares(self, u: Floats, v: Floats) -> dict[int, Floats]:
        """(rows, columns) share of every part that is seen at columns u, rows v."""
        wholes, inner = [], []
        for row in range(len(self.rows)):
            found = self.row_shares(row, u, v)
            inner.append(found)
            wholes.append(np.sum(found, axis=0))
        lines = [at(cut.first, cut.path, u)[None, :] for cut in self.between]
        weights = []
        for row, whole in enumerate(wholes):
            weight = (whole > 0).astype(np.float64)
            if row > 0:
                weight = weight * ramp(v[:, None] - lines[row - 1], self.feather_px)
            if row < len(lines):
                weight = weight * ramp(lines[row] - v[:, None], self.feather_px)
            weights.append(weight)
        weights = _evened(weights, [whole > 0 for whole in wholes])
        out = {}
        for row, parts in enumerate(self.rows):
            for place, part in enumerate(parts):
                share = weights[row] * inner[row][place]
                if share.max() > _SHARE_FLOOR:
                    out[part] = share
        return out

    def block(self, left: int, top: int, width: int, height: int, fill: npt.NDArray[Any]) -> Pixels:
        """(rows, columns, channels); where no part is, `fill`."""
        u = np.arange(left, left + width, dtype=np.float64)
        v = np.arange(top, top + height, dtype=np.float64)
        shares = self.shares(u, v)
        if len(shares) == 1:
            ((part, share),) = shares.items()
            if share.min() > 1 - _SHARE_FLOOR:
                return self.layers[part].block(left, top, width, height)
        out = np.broadcast_to(fill, (height, width, len(fill))).astype(fill.dtype)
        mixed = np.zeros((height, width, len(fill)), np.float32)
        for part, share in shares.items():
            rows, columns = _span(share > _SHARE_FLOOR)
            cut = share[rows, columns]
            seen = self.layers[part].block(
                left + columns.start, top + rows.start, columns.stop - columns.start, rows.stop - rows.start
            )
            alone = cut > 1 - _SHARE_FLOOR
            out[rows, columns][alone] = seen[alone]
            mixed[rows, columns] += seen * cut[:, :, None].astype(np.float32)
        total = np.sum(list(shares.values()), axis=0) if shares else np.zeros((height, width))
        alone = np.max(list(shares.values()), axis=0) > 1 - _SHARE_FLOOR if shares else total > 0
        both = (total > 0.5) & ~alone
        out[both] = np.rint(mixed[both]).astype(fill.dtype)
        return out

    def bands(self, width: int, height: int, rows: int, fill: npt.NDArray[Any]) -> Iterator[Pixels]:
        """The whole image, top to bottom."""
        for top in range(0, height, rows):
            count = min(rows, height - top)
            band = np.empty((count, width, len(fill)), fill.dtype)
            for left in range(0, width, TILE_COLUMNS):
                wide = min(TILE_COLUMNS, width - left)
                band[:, left : left + wide] = self.block(left, top, wide, count, fill)
            yield band


def _evened(shares: Sequence[Floats], present: Sequence[npt.NDArray[np.bool_]]) -> list[Floats]:
    """Shares made to sum to 1; where the cuts leave nothing but some part has pixels, the first of those."""
    total = np.sum(shares, axis=0)
    empty = total <= _SHARE_FLOOR
    out = []
    for share, has in zip(shares, present, strict=True):
        taken = empty & has
        empty = empty & ~has
        out.append(np.where(taken, 1.0, np.where(total > _SHARE_FLOOR, share / np.maximum(total, 1e-9), 0.0)))
    return out


def _span(mask: npt.NDArray[np.bool_]) -> tuple[slice, slice]:
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)
