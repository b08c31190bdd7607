"""How far a work is turned, from its sides, and how well these tell it.

A cut side lies on its line but for noise. A torn one wanders by millimetres in waves, and the line through it leans
with the waves; no care in finding the edge mends that, so it is told how much it leaves open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import erf, hypot, sqrt

import numpy as np

from .edge_profiles import Floats
from .edges import Side

TOLERANCE_DEG = 0.05  # what `sure` of the reading speaks of
_FARTHEST = 4.7  # spreads; what lies further off the line had no part in it
# The line has taken its own share of each wave, so what is left seems smaller than what bent it: real errors of torn
# sides are so much larger than those reckoned from the rest.
_TAKEN = 1.9
_LEAST_DEG = 0.01  # of the overview's pixels, whatever the sides say
_WAVES = 12.0  # how many independent turns the waves of all sides together weigh, beside the turns that are seen


@dataclass(frozen=True, slots=True)
class Skew:
    """The work's turn in degrees, positive = clockwise on screen, and the standard error of it."""

    deg: float
    error_deg: float

    @property
    def sure(self) -> float:
        """How likely the figure is within the tolerance."""
        return erf(TOLERANCE_DEG / sqrt(2) / self.error_deg)


def skew_of(turn: float, sides: Sequence[Side | None]) -> Skew | None:
    """Mean turn of the sides, each counted by its length and how little it scatters. `turn`: of the rectangle along
    which they were searched, radians. None where no side is seen."""
    seen = [side for side in sides if side is not None]
    if not seen:
        return None
    turns = np.array([turn - float(np.arctan(side.slope)) for side in seen])
    weights = np.array([float(_lever(side) @ _lever(side)) / side.spread**2 for side in seen])
    mean = float(np.average(turns, weights=weights))
    # as if the places of a side were independent; how many times larger it is by their waves, and by the sides' own
    # disagreement
    alone = 1 / weights.sum()
    waves = float(np.average([_by_waves(side) for side in seen], weights=weights))
    apart = float((weights * (turns - mean) ** 2).sum())
    times = (_WAVES * waves + apart) / (_WAVES + len(seen) - 1)
    error = _TAKEN * float(np.degrees(np.sqrt(alone * max(times, 1.0))))
    return Skew(float(np.degrees(mean)), hypot(error, _LEAST_DEG))


def _lever(side: Side) -> Floats:
    return np.asarray(side.along - side.along.mean())


def _by_waves(side: Side) -> float:
    """Variance of the side's slope by the correlation along it, as a multiple of what independent places give."""
    off = side.depth - side.offset - side.slope * side.along
    off = np.clip(off, -_FARTHEST * side.spread, _FARTHEST * side.spread)
    lever = _lever(side)
    alike, levers = (np.correlate(row, row, "full") for row in (off, lever))
    return float((alike * levers).sum() / len(off) / (lever @ lever) / side.spread**2)
