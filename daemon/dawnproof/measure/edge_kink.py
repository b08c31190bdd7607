"""Where a work begins behind its own shadow, from the mean of all profiles across a side.

A shadow's fastest darkening can stand outside the work's edge, and pale paper shows little else. But the shadow is
smooth and ends at the edge: that end, with the step of tone there, is fitted.
"""

from __future__ import annotations

from functools import cache
from math import erf, sqrt

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_WINDOW_PX = np.arange(-5.0, 4.01, 0.5)  # of the overview, inwards of the places given
_ENDS_PX = np.arange(0.0, 4.01, 0.125)
_BLURS_PX = (0.75, 1.0, 1.4)  # an edge seen through the overview's pixels and the step of the profiles, and rougher
_BETTER = 0.5  # what the misfit must fall to before the shadow is believed to end elsewhere
_GOOD = 0.009  # largest misfit, share of the profile's energy
_ALIKE = 1.5  # of ends that fit about as well as the best, the outermost
_OUTWARDS_PX = 0.25  # half the scatter of the fit
_LEAST_PX = 0.4


def shadow_end(step: npt.NDArray[np.floating], depth: Floats, places: Floats) -> float:
    """How far inwards of the places the shadow ends, in pixels of the overview; 0 where it ends at them.

    `step`: (samples, steps, channels), change of tone a pixel at `depth`; `places`: (samples), the fastest change.
    """
    mean = mean_step(step, depth, places, _WINDOW_PX)
    energy = float((mean**2).sum())
    if energy == 0.0:
        return 0.0
    explained = (np.einsum("fij,ic->fjc", _bases(), mean) ** 2).sum(axis=(1, 2))
    misfit = ((energy - explained) / energy).reshape(len(_BLURS_PX), len(_ENDS_PX)).min(axis=0)
    least = float(misfit.min())
    if least > _GOOD or least > _BETTER * misfit[0]:
        return 0.0
    best = int((misfit <= _ALIKE * least).argmax())
    end = float(_ENDS_PX[best]) - _OUTWARDS_PX
    return end if end >= _LEAST_PX else 0.0


def mean_step(step: npt.NDArray[np.floating], depth: Floats, places: Floats, window: Floats) -> Floats:
    """Mean change (window, channels) around the places, between the steps linear."""
    spacing = float(depth[1] - depth[0])
    at = (places[:, None] + window[None] - depth[0]) / spacing
    below = np.clip(np.floor(at).astype(int), 0, len(depth) - 2)
    share = np.clip(at - below, 0.0, 1.0)[..., None]
    rows = np.arange(len(places))[:, None]
    return np.asarray(((1 - share) * step[rows, below] + share * step[rows, below + 1]).mean(axis=0), np.float64)


@cache
def _bases() -> Floats:
    """Orthonormal columns (blur and end, window, 5): outside a parabola, at the end a step, inside a constant."""
    bases = []
    for blur in _BLURS_PX:
        for end in _ENDS_PX:
            off = (_WINDOW_PX - end) / blur
            inside = np.array([0.5 * (1 + erf(value / sqrt(2))) for value in off])
            outside = [(1 - inside) * _WINDOW_PX**power for power in range(3)]
            columns = np.stack((*outside, np.exp(-(off**2) / 2), inside), axis=1)
            bases.append(np.linalg.qr(columns)[0])
    return np.array(bases)
