"""Where the colour of a work begins: a shadow darkens the lid and leaves it as neutral as it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from .edge_kink import mean_step
from .edge_profiles import STEP_PX, Floats

_CLEAR_TINT = 0.02  # summed over the channels: more than the tint of a lid makes of a shadow
_WINDOW_PX = np.arange(-6.0, 6.01, STEP_PX)
_BEGUN, _DONE = 0.15, 0.85  # of the whole tint
_SHARP_PX = 2.6  # between the two at a cut edge, as the overview's pixels and the step of the profiles show it
_STRAY = 0.2  # of the whole tint, by which it may go back or beyond: the work's own colours behind its edge


def coloured_before(step: npt.NDArray[Any], at: int) -> bool:
    """Whether most of the colour behind the edge is met before that step of (samples, steps, channels)."""
    tint = _tint(step.mean(axis=0)).cumsum(axis=0) * STEP_PX
    whole = tint[-1]
    return float(np.abs(whole).sum()) > _CLEAR_TINT and float(tint[at] @ whole) > 0.5 * float(whole @ whole)


@dataclass(frozen=True, slots=True, eq=False)
class Begins:
    """How far inwards of the places (pixels of the overview) a work's colour begins, and which: `direction` (channels)
    gives 1 with the whole of it."""

    inwards: float
    direction: Floats

    def share(self, step: npt.NDArray[Any]) -> Floats:
        """Change of tone (..., channels) as the share of that colour that comes with it, (..., 1)."""
        return np.asarray(_tint(np.asarray(step, np.float64)) @ self.direction)[..., None]


def colour_begins(step: npt.NDArray[Any], depth: Floats, places: Floats) -> Begins | None:
    """Where the work's colour begins; None where it does not begin sharply, all along the side. `step`: (samples,
    steps, channels), change of tone a pixel at `depth`; `places`: (samples)."""
    tint = _tint(mean_step(step, depth, places, _WINDOW_PX)).cumsum(axis=0) * STEP_PX
    whole = tint[-1]
    if float(np.abs(whole).sum()) <= _CLEAR_TINT:
        return None
    direction = whole / float(whole @ whole)
    share = tint @ direction
    if share.min() < -_STRAY or share.max() > 1 + _STRAY:
        return None
    first, middle, last = (_reached(share, part) for part in (_BEGUN, 0.5, _DONE))
    return Begins(middle, direction) if last - first <= _SHARP_PX else None


def _tint(step: Floats) -> Floats:
    return np.asarray(step - step.mean(axis=-1, keepdims=True), np.float64)


def _reached(share: Floats, part: float) -> float:
    """Where the share first reaches that part, between the steps linear."""
    at = int((share >= part).argmax())
    if at == 0:
        return float(_WINDOW_PX[0])
    before, after = share[at - 1], share[at]
    # a step stands for the change around its place, so its sum is reached half a step later
    return float(_WINDOW_PX[at - 1] + STEP_PX * ((part - before) / (after - before) + 0.5))
