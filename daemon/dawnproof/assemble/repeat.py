"""Texture that repeats itself: where it does, a place found by it is one of many."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..measure.overlap import likeness_surface, smoothed
from .area import places
from .match import cut_out
from .parts import Matrix
from .view import View

_REACH = 96  # level px; longer periods show as candidates of their own
_PATCHES = 24


def repeat_of(first: View, second: View, matrix: Matrix, level: int) -> tuple[float, float]:
    """Full px to the place near by where the overlap's patches of the first view best fit the first view again, and
    the share of their variance left unexplained there, in all but the fifth of them that fit worst (1 where nothing
    was found). `matrix` says where the overlap is."""
    grid, size = places(first, second, matrix, level, 0)
    surfaces = []
    for x, y in grid[np.linspace(0, len(grid) - 1, min(_PATCHES, len(grid))).astype(int)]:
        patch = smoothed(cut_out(first, int(x), int(y), *size, level, as_it_is=True))
        if patch.std() < 1e-4:
            continue
        wide = (size[0] + 2 * _REACH, size[1] + 2 * _REACH)
        around = smoothed(cut_out(first, int(x) - _REACH, int(y) - _REACH, *wide, level, as_it_is=True))
        surfaces.append(likeness_surface(patch, around))
    if len(surfaces) < 4:
        return 0.0, 1.0
    stack = np.array(surfaces)
    # a patch near the rim of the view has no repeat on that side: each may take the better of two opposite places
    either = np.maximum(stack, stack[:, ::-1, ::-1])
    usual = np.percentile(either, 20, axis=0)
    away = _outside_main_lobe(usual)
    best = max(float(away.max()), 0.0)
    as_good = np.argwhere(away >= best - 0.03) - _REACH
    return float(np.linalg.norm(as_good, axis=1).min()) * level, 1 - best**2


def _outside_main_lobe(surface: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The surface without the hill around its middle: everything above its half that hangs together with it."""
    middle = surface.shape[0] // 2
    y, x = np.mgrid[0 : surface.shape[0], 0 : surface.shape[1]]
    radius = np.hypot(y - middle, x - middle)
    rings = np.array([float(surface[(radius >= r) & (radius < r + 1)].min()) for r in range(middle)])
    low = np.flatnonzero(rings < 0.5)
    edge = int(low[0]) if len(low) else middle
    return np.asarray(np.where(radius > max(edge, 3), surface, -1.0), dtype=np.float32)
