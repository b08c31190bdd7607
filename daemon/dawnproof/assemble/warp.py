"""A smooth correction where two parts lay differently: only taken when patches left out of the fit bear it out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from .bend import Bend, bend_of
from .layout import Layout
from .parts import Warp
from .register import PairFit
from .view import apply

Floats = npt.NDArray[np.float64]
Pair = tuple[int, int]
_FINE_STEP_PX = 16.0
_MOST_STEPS = 400
_LEAST_REACH_PX = 200.0
_HALF_PATCH_PX = 32.0
_SETTLED = 3  # rounds in which a place and its own displacement settle on one another


@dataclass(frozen=True)
class Frame:
    """A rectangle of the joined image, `low` and `high` (x, y), over which a correction holds."""

    low: Floats
    high: Floats


def spread(bend: Bend, frames: Sequence[Frame], reach_px: float) -> Warp:
    """On a fine net over the frames, fading to nothing over `reach_px` beyond them."""
    low = np.min([f.low for f in frames], axis=0) - reach_px
    high = np.max([f.high for f in frames], axis=0) + reach_px
    step = max(_FINE_STEP_PX, float((high - low).max()) / _MOST_STEPS)
    counts = np.ceil((high - low) / step).astype(int) + 1
    x, y = (low[i] + np.arange(counts[i]) * step for i in (0, 1))
    places = np.stack(np.meshgrid(x, y), axis=-1)
    away = [np.linalg.norm(places - np.clip(places, f.low, f.high), axis=2) for f in frames]
    far = np.clip(np.min(away, axis=0) / reach_px, 0, 1)
    fading = (1 - far) ** 2 * (1 + 2 * far)
    moved = np.concatenate([bend.at(line) for line in places]).reshape(places.shape)
    return Warp(float(low[0]), float(low[1]), step, moved * fading[:, :, None])


def bent_at(warps: Sequence[Warp], places: Floats) -> Floats:
    """(n, 2) sum of the displacements at places of the joined image."""
    total = np.zeros_like(places)
    for warp in warps:
        at = np.stack([(places[:, 1] - warp.y0) / warp.step, (places[:, 0] - warp.x0) / warp.step])
        for i in (0, 1):
            total[:, i] += ndimage.map_coordinates(warp.grid_px[:, :, i], at, order=1, mode="constant")
    return total


def bent_pairs(layout: Layout, pairs: Mapping[Pair, PairFit]) -> list[tuple[Warp, ...]]:
    """For each part the correction that brings it to all parts nearer the reference; the reference has none."""
    warps: list[tuple[Warp, ...]] = [()] * len(layout.matrices)
    for place, part in enumerate(layout.order[1:], 1):
        nearer = [pair for pair in pairs if part in pair and set(pair) <= set(layout.order[: place + 1])]
        found = [apart_after(layout, pairs[pair], pair, warps) for pair in nearer]
        frames = [_frame(places) for places, _ in found]
        places, apart = (np.concatenate([f[i] for f in found]) for i in (0, 1))
        low, high = np.min([f.low for f in frames], axis=0), np.max([f.high for f in frames], axis=0)
        bend = bend_of(places, apart, low, high)
        if bend is not None:
            reach = max([_LEAST_REACH_PX, *(pairs[pair].across_px for pair in nearer)])
            warps[part] = (spread(bend, frames, reach),)
    return warps


def _frame(places: Floats) -> Frame:
    """Around matched places, half the way between neighbours beyond the outermost."""
    low, high = places.min(axis=0), places.max(axis=0)
    room = float(np.sqrt(np.prod(np.maximum(high - low, 1.0)) / max(1, len(places)))) + _HALF_PATCH_PX
    return Frame(low - room, high + room)


def apart_after(layout: Layout, fit: PairFit, pair: Pair, warps: Sequence[tuple[Warp, ...]]) -> tuple[Floats, Floats]:
    """(n, 2) places on the joined image where the part nearer the reference shows the matches, and by how many px,
    x and y, the other must be read further on there to show them too."""
    points = {pair[0]: fit.matches.first, pair[1]: fit.matches.second}
    near, far = sorted(pair, key=layout.order.index)
    landed, theirs = (apply(layout.matrices[i], points[i]) for i in (near, far))
    places = landed
    for _ in range(_SETTLED if warps[near] else 0):
        places = landed - bent_at(warps[near], places)
    return places, theirs - places - bent_at(warps[far], places)
