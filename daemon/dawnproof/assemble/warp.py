"""A smooth correction where two parts lay differently: only taken when patches left out of the fit bear it out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from .layout import Layout
from .parts import Warp
from .register import PairFit
from .view import apply

Floats = npt.NDArray[np.float64]
_FINE_STEP_PX = 16.0
_GAIN_NEEDED = 0.8  # root mean square with over without, on patches left out
_LEAST_PX = 0.06
_STIFFNESS = (0.03, 0.3, 3.0, 30.0)


def smooth_field(places: Floats, wanted: Floats, reach_px: float) -> Warp | None:
    """The displacement field through (n, 2) `wanted` px at (n, 2) `places`, held beyond the patches and fading to
    nothing over `reach_px`; None when it does not help patches it was not fitted to."""
    if len(places) < 16:
        return None
    grid = _Nodes(places)
    held_out = np.arange(len(places)) % 2 == 0
    plain = _size(wanted)
    tried = []
    for stiffness in _STIFFNESS:
        left = []
        for part in (held_out, ~held_out):
            nodes = grid.fitted(places[part], wanted[part], stiffness)
            left.append(wanted[~part] - grid.at(nodes, places[~part]))
        tried.append((_size(np.concatenate(left)), stiffness))
    best, stiffness = min(tried)
    if best > _GAIN_NEEDED * plain or plain - best < _LEAST_PX:
        return None
    return grid.spread(grid.fitted(places, wanted, stiffness), reach_px)


def _size(left: Floats) -> float:
    """Root mean square length, the worst twentieth left out."""
    length = np.sort(np.linalg.norm(left, axis=1))
    return float(np.sqrt((length[: max(1, int(0.95 * len(length)))] ** 2).mean()))


class _Nodes:
    """Values at the crossings of a coarse net over the patches, straight in between, held together by the squares of
    their second differences."""

    def __init__(self, places: Floats) -> None:
        self.low = places.min(axis=0)
        extent = np.maximum(places.max(axis=0) - self.low, 1.0)
        self.step = float(max(extent.max() / 12, 24.0))
        self.counts = np.maximum(2, np.ceil(extent / self.step).astype(int) + 1)

    def _design(self, places: Floats) -> Floats:
        columns, rows = self.counts
        at = np.clip((places - self.low) / self.step, 0, self.counts - 1.000001)
        cell = np.floor(at).astype(int)
        part = at - cell
        out = np.zeros((len(places), rows * columns))
        every = np.arange(len(places))
        for down in (0, 1):
            for across in (0, 1):
                wx = part[:, 0] if across else 1 - part[:, 0]
                wy = part[:, 1] if down else 1 - part[:, 1]
                out[every, (cell[:, 1] + down) * columns + cell[:, 0] + across] += wx * wy
        return out

    def fitted(self, places: Floats, wanted: Floats, stiffness: float) -> Floats:
        """(rows, columns, 2) node values, two rounds, patches far off weighted down."""
        columns, rows = self.counts
        design = self._design(places)
        bending = stiffness * self._bending() + 1e-6 * np.eye(rows * columns)
        weight = np.ones(len(places))
        for _ in range(3):
            normal = design.T @ (design * weight[:, None]) + bending
            nodes = np.linalg.solve(normal, design.T @ (wanted * weight[:, None]))
            left = np.linalg.norm(wanted - design @ nodes, axis=1)
            spread = 1.4826 * float(np.median(left)) + 0.02
            weight = np.minimum(1.0, (2 * spread / np.maximum(left, 1e-9)) ** 2)
        return np.asarray(nodes.reshape(rows, columns, 2), dtype=np.float64)

    def _bending(self) -> Floats:
        columns, rows = self.counts
        index = np.arange(rows * columns).reshape(rows, columns)
        lines = []
        for a, b, c in [
            (index[:, :-2], index[:, 1:-1], index[:, 2:]),
            (index[:-2], index[1:-1], index[2:]),
        ]:
            for i, j, k in zip(a.ravel(), b.ravel(), c.ravel(), strict=True):
                line = np.zeros(rows * columns)
                line[[i, j, k]] = 1, -2, 1
                lines.append(line)
        for a, b in [(index[:-1, :-1], index[1:, 1:])]:
            for i, k in zip(a.ravel(), b.ravel(), strict=True):
                line = np.zeros(rows * columns)
                line[[i, k, i + 1, k - 1]] = 1, 1, -1, -1
                lines.append(line)
        stack = np.array(lines).reshape(len(lines), rows * columns)
        return np.asarray(stack.T @ stack)

    def at(self, nodes: Floats, places: Floats) -> Floats:
        return np.asarray(self._design(places) @ nodes.reshape(-1, 2))

    def spread(self, nodes: Floats, reach_px: float) -> Warp:
        """On a fine net beyond the patches on all sides."""
        low = self.low - reach_px
        high = self.low + (self.counts - 1) * self.step + reach_px
        counts = np.ceil((high - low) / _FINE_STEP_PX).astype(int) + 1
        x = low[0] + np.arange(counts[0]) * _FINE_STEP_PX
        y = low[1] + np.arange(counts[1]) * _FINE_STEP_PX
        at_x = np.clip((x - self.low[0]) / self.step, 0, self.counts[0] - 1)
        at_y = np.clip((y - self.low[1]) / self.step, 0, self.counts[1] - 1)
        where = np.stack(np.meshgrid(at_y, at_x, indexing="ij"))
        far_x = np.abs(x - np.clip(x, self.low[0], high[0] - reach_px)) / reach_px
        far_y = np.abs(y - np.clip(y, self.low[1], high[1] - reach_px)) / reach_px
        far = np.clip(np.hypot(far_y[:, None], far_x[None, :]), 0, 1)
        fading = (1 - far) ** 2 * (1 + 2 * far)
        order = 3 if min(self.counts) > 3 else 1
        planes = [ndimage.map_coordinates(nodes[:, :, i], where, order=order, mode="nearest") for i in (0, 1)]
        return Warp(float(low[0]), float(low[1]), _FINE_STEP_PX, np.stack(planes, axis=2) * fading[:, :, None])


def bent_at(warps: Sequence[Warp], places: Floats) -> Floats:
    """(n, 2) sum of the displacements at places of the joined image."""
    total = np.zeros_like(places)
    for warp in warps:
        at = np.stack([(places[:, 1] - warp.y0) / warp.step, (places[:, 0] - warp.x0) / warp.step])
        for i in (0, 1):
            total[:, i] += ndimage.map_coordinates(warp.grid_px[:, :, i], at, order=1, mode="constant")
    return total


def bent_pairs(layout: Layout, pairs: Mapping[tuple[int, int], PairFit]) -> list[tuple[Warp, ...]]:
    """For each part the corrections that bring it to the parts nearer the reference; the reference has none."""
    warps: list[tuple[Warp, ...]] = [()] * len(layout.matrices)
    rank = {part: place for place, part in enumerate(layout.order)}
    for pair in sorted(pairs, key=lambda p: (max(rank[p[0]], rank[p[1]]), min(rank[p[0]], rank[p[1]]))):
        a, b = pair
        places, apart = apart_after(layout, pairs[pair], pair, warps)
        # apart = where a's point lands minus where b's lands; the later part is to be read further on by as much
        later, wanted = (b, -apart) if rank[b] > rank[a] else (a, apart)
        field = smooth_field(places, wanted, max(pairs[pair].across_px, 200.0))
        if field is not None:
            warps[later] = (*warps[later], field)
    return warps


def apart_after(
    layout: Layout, fit: PairFit, pair: tuple[int, int], warps: Sequence[tuple[Warp, ...]]
) -> tuple[Floats, Floats]:
    """(n, 2) places on the joined image and what still lies between the two parts there, x and y in px."""
    a, b = pair
    ours, theirs = apply(layout.matrices[a], fit.matches.first), apply(layout.matrices[b], fit.matches.second)
    places = (ours + theirs) / 2
    return places, (ours - bent_at(warps[a], places)) - (theirs - bent_at(warps[b], places))
