"""A work that lies so near the frame that its shadow fills the strip of lid between them.

What stands out from the lid then reaches the frame, and the work seems to run out of it. But a shadow is as neutral as
the lid, nowhere lighter than it, and lightens from the work towards the frame; where the picture shows such a strip,
and an edge behind it, the work ends there.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from .edge_profiles import Floats
from .edges import Side, find_side
from .lid import Picture, Surroundings

_MOST_MM = 2.0  # a wider strip shows bare lid beside the shadow
_LEAST_PX = 1.0  # of the strip, where its tone is neither mixed with the work's nor cut by the frame
_EDGE_PX = 1.5  # tones so near the work's edge are mixed with it
_FRAME_PX = 0.75
_NEUTRAL = 0.03  # by which the channels may be darkened unlike, share of the lid's tone
_OWN_TINT = 0.3  # of the work's tint: what has more of it is the work
_WITHIN_PX = 3.0  # behind the edge, where the work's own tone is seen
_DARKEST = 0.5  # of the lid's tone
_LIGHTER = 0.004  # at least, from the work to the frame
_UNEVEN = 0.03  # along the strip
_LID_PIXELS = 20_000


def edge_behind_shade(
    picture: Picture, middle: Floats, inwards: Floats, length: float, mm: float, lid: Surroundings
) -> Side | None:
    """The work's edge near a side of the frame, or None where it runs out or cannot be told from one that does.
    `middle`, `inwards` and `length` as for `find_side`; `mm` the size of a pixel of the overview."""
    # a dark lid shows no shadow; and of one channel nothing tells lid in shadow from paper
    if lid.kind not in ("white", "grey") or picture.shape[2] < 3:
        return None
    side = find_side(picture, middle, inwards, length, (-2.0, _MOST_MM / mm), lid.grain)
    return side if side is not None and _is_shade(picture, middle, inwards, side, _lid_tone(picture, lid)) else None


def _lid_tone(picture: Picture, lid: Surroundings) -> Floats:
    at = np.flatnonzero(lid.reach)
    tones = picture.reshape(-1, picture.shape[2])[at[:: max(1, len(at) // _LID_PIXELS)]]
    return np.asarray(np.median(tones, axis=0), np.float64)


def _is_shade(picture: Picture, middle: Floats, inwards: Floats, side: Side, lid_tone: Floats) -> bool:
    """Whether what lies between edge and frame is lid in the work's shadow."""
    direction = np.array([-inwards[1], inwards[0]])
    start = middle[None] + side.along[:, None] * direction[None]  # on the searched side, from where depths count
    outer = _frame_depth(start, inwards, picture.shape) + _FRAME_PX
    inner = side.offset + side.slope * side.along - _EDGE_PX
    wide = inner - outer >= _LEAST_PX
    if wide.mean() < 0.6:
        return False
    at_frame, between, at_edge, within = (
        _tones(picture, (start + depth[:, None] * inwards[None])[wide]) / lid_tone
        for depth in (outer, (outer + inner) / 2, inner, inner + 2 * _EDGE_PX + _WITHIN_PX)
    )
    shares = at_frame.mean(axis=1)
    return bool(
        _tint(at_frame) @ _tint(within) <= _OWN_TINT * (_tint(within) @ _tint(within))
        and (np.ptp(at_frame, axis=1) <= _NEUTRAL).mean() > 0.85
        and _DARKEST <= float(np.median(shares)) <= 1 + _LIGHTER
        and float(shares.std()) <= _UNEVEN
        and float(np.median(shares - at_edge.mean(axis=1))) >= _LIGHTER
        # half way too: beside a line drawn on pale paper it is dark only close by
        and float(np.median(shares - between.mean(axis=1))) >= _LIGHTER / 2
    )


def _tint(tones: Floats) -> Floats:
    """By how much the channels differ from one another, beside the lid's own."""
    middle = np.median(tones, axis=0)
    return np.asarray(middle - middle.mean())


def _frame_depth(start: Floats, inwards: Floats, shape: tuple[int, ...]) -> Floats:
    """How far inwards of each place the picture begins."""
    axis = int(abs(inwards[1]) > abs(inwards[0]))
    frame = 0.0 if inwards[axis] > 0 else float(shape[1 - axis])
    return np.asarray((frame - start[:, axis]) / inwards[axis])


def _tones(picture: Picture, places: Floats) -> npt.NDArray[np.float64]:
    """Tones (n, channels) at places (n, 2) in edge coordinates, between the pixels linear."""
    maps = [np.ascontiguousarray(places[None, :, axis] - 0.5, np.float32) for axis in (0, 1)]
    found = np.asarray(cv2.remap(picture, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    return found.reshape(len(places), -1).astype(np.float64)
