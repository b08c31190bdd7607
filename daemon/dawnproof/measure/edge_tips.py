"""The outermost of a rough edge: where each pixel along a side, from corner to corner, first shows a clear change.

The line through a torn or deckle edge runs through the middle of its teeth, and the places it is fitted to leave out
both corners and whatever lies too far off; of a skewed work the corners are the outermost of all.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .edge_profiles import Floats, nearer_beside, profiles_across, top_shift, votes_in

_TIPS_PX = 8.0  # how far a tooth may stand out from the line
_WITHIN_PX = 4.0  # how far inwards of the line the first change may lie
_FLANKS_PX = 4.0  # around what is searched, so that every change there is seen whole
_CLEAR_VOTE = 0.5
_BEHIND_PX = 1.0  # lighter work begins at least so far behind its shadow's fastest darkening
_POINTED_PX = 2.0  # a tip stands out from one of its neighbours by no more
_EVERY_PIXEL = 100_000


def tips_along(
    picture: npt.NDArray[np.float32],
    middle: Floats,
    inwards: Floats,
    length: float,
    line: tuple[float, float],
    grain: float,
    sign: float = 0.0,
    behind: float = 0.0,
) -> tuple[Floats, Floats]:
    """Places along the side and depths there of all first changes, in pixels of the overview and as `Side` has them.

    `line`, `sign`, `behind`: of the side; the other arguments as for `find_side`. A pixel that stands out alone is
    taken for dust, and counts as far as one of its neighbours goes.
    """
    offset, slope = line
    cos, sin = 1 / np.hypot(1.0, slope), slope / np.hypot(1.0, slope)
    across = cos * inwards - sin * np.array([-inwards[1], inwards[0]])
    reach = -_TIPS_PX - _FLANKS_PX, _WITHIN_PX + _FLANKS_PX
    profiles = profiles_across(picture, middle + offset * inwards, across, length, reach, _EVERY_PIXEL)
    if len(profiles.along) < 2:
        return np.empty(0), np.empty(0)
    off, change = profiles.depth, profiles.change
    looked_at = (off >= -_TIPS_PX) & (off <= _WITHIN_PX)
    met = (votes_in(change, grain) > _CLEAR_VOTE) & looked_at & (sign * profiles.signed >= 0)
    first, rows = met.argmax(axis=1), np.arange(len(met))
    strongest = np.where(looked_at & (off >= -_WITHIN_PX), change, 0.0).argmax(axis=1)
    shaded = (profiles.signed[rows, first] < 0) & (profiles.signed[rows, strongest] > 0)
    places = off[first] + top_shift(change, first) + np.maximum(_BEHIND_PX * shaded, behind)
    tips = _confirmed(np.where(met.any(axis=1), places, np.inf))
    seen = np.isfinite(tips)
    along, depth = profiles.along[seen], tips[seen]
    return along * cos - depth * sin, offset + along * sin + depth * cos


def _confirmed(tips: Floats) -> Floats:
    beside = nearer_beside(tips)
    return np.where(tips + _POINTED_PX >= beside, tips, beside)
