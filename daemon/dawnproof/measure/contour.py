"""The contour of a work from its four sides: where it may reach at most, and where it surely is.

The outermost of a torn work stands out from the lines through its sides, at a corner from both of them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .edge_profiles import nearer_beside
from .edge_tips import tips_along
from .edges import Side
from .lid import Picture
from .pieces import Floats, Rectangle

_OUTWARDS_PX = 0.5  # of the overview: a shadow's slope moves the fastest change inwards by up to 0.4
_INWARDS_PX = 0.5
_CLEAN_PX = 0.15  # spread of the places: noise and shadow scatter those of a cut edge by so much, teeth by more
_BY_TURNS_PX = 0.35  # one that shadow and work are met on by turns scatters by up to this
_FAR_SPREADS = 3.0  # what lies further off the line of a cut edge, and a pixel more, is not the edge
_AT_CORNER_PX = 8.0  # of a side, that say how far the work stands out at its corner

FourSides = tuple[Side | None, Side | None, Side | None, Side | None]  # left, bottom, right, top


def half(rectangle: Rectangle, side: int) -> tuple[float, float]:
    """Half the size across and along a side (0 left, 1 bottom, 2 right, 3 top)."""
    sizes = rectangle.half_width, rectangle.half_height
    return (sizes[0], sizes[1]) if side % 2 == 0 else (sizes[1], sizes[0])


def middle(rectangle: Rectangle, side: int, inwards: Floats) -> Floats:
    return np.array([rectangle.x, rectangle.y]) - inwards * half(rectangle, side)[0]


def outermost(
    picture: Picture, rectangle: Rectangle, normals: tuple[Floats, ...], sides: FourSides, grain: float
) -> Floats:
    """The contour (n, 2) moved outwards by what may be missed: half a pixel and the scatter of a cut edge; a rough one
    by its tips. For its extent: along a rough side the points are in no order."""
    outer = tuple(
        None if side is None else _outer_side(picture, rectangle, normals, k, side, grain)
        for k, side in enumerate(sides)
    )
    return polygon(rectangle, normals, outer, _reached_corners(rectangle, normals, outer))


def _outer_side(
    picture: Picture, rectangle: Rectangle, normals: tuple[Floats, ...], k: int, side: Side, grain: float
) -> Side:
    line = side.offset + side.slope * side.along
    off = np.maximum(side.depth - line, -1.0 - _FAR_SPREADS * side.spread)
    depth = line + np.maximum(off, nearer_beside(off))
    if side.spread <= _CLEAN_PX:
        margin = _OUTWARDS_PX + side.spread
        return replace(side, offset=side.offset - margin, depth=depth - margin)
    start, length = middle(rectangle, k, normals[k]), 2 * half(rectangle, k)[1]
    # between the teeth of a rough edge shadow and work mix, so there every change counts
    change = (side.sign, side.behind) if side.spread <= _BY_TURNS_PX else (0.0, 0.0)
    along, tips = tips_along(picture, start, normals[k], length, (side.offset, side.slope), grain, *change)
    along, depth = np.append(side.along, along), np.append(depth, tips)
    return replace(side, offset=side.offset - _OUTWARDS_PX, along=along, depth=depth - _OUTWARDS_PX)


def _reached_corners(rectangle: Rectangle, normals: tuple[Floats, ...], sides: tuple[Side | None, ...]) -> Floats:
    """The corners, each where its two sides would meet if they lay as far out as what stands out there: further on
    there is only the shadow of the corner."""
    lines = corners(rectangle, normals, sides)
    reached = []
    for k in range(4):
        after = (k + 1) % 4
        moved = list(sides)
        for side in (k, after):
            moved[side] = _moved_out(sides[side], lines[k], middle(rectangle, side, normals[side]), normals[side])
        reached.append(corners(rectangle, normals, tuple(moved))[k])
    return np.array(reached)


def _moved_out(side: Side | None, corner: Floats, start: Floats, inwards: Floats) -> Side | None:
    """The side moved to the outermost place near the corner, on the side itself."""
    if side is None:
        return None
    end = float((corner - start) @ np.array([-inwards[1], inwards[0]]))
    near = (np.abs(side.along - end) < _AT_CORNER_PX) & (np.abs(side.along) < abs(end))
    off = side.depth - side.offset - side.slope * side.along
    return replace(side, offset=side.offset + float(off[near].min(initial=0.0)))


def inner_side(side: Side | None) -> Side | None:
    """The side moved inwards, its teeth filled up, so that what shows between them is not counted with the work."""
    if side is None:
        return None
    margin = _INWARDS_PX + min(side.spread, 1.0)
    depth = np.maximum(side.depth, nearer_beside(side.depth)) + margin
    return replace(side, offset=side.offset + margin, depth=depth)


def _line(
    rectangle: Rectangle, normals: tuple[Floats, ...], sides: tuple[Side | None, ...], side: int
) -> tuple[Floats, Floats]:
    """A point on the side's line and its direction, counter-clockwise on screen."""
    inwards, found = normals[side], sides[side]
    direction = np.array([-inwards[1], inwards[0]])
    start = middle(rectangle, side, inwards)
    if found is None:
        return start, direction
    return start + found.offset * inwards, direction + found.slope * inwards


def corners(rectangle: Rectangle, normals: tuple[Floats, ...], sides: tuple[Side | None, ...]) -> Floats:
    """Where each side's line meets the next one's: bottom left, bottom right, top right, top left; (4, 2)."""
    lines = [_line(rectangle, normals, sides, k) for k in range(4)]
    met = []
    for k in range(4):
        (p, v), (q, w) = lines[k], lines[(k + 1) % 4]
        step = np.linalg.solve(np.stack((v, -w), axis=1), q - p)[0]
        met.append(p + step * v)
    return np.array(met)


def polygon(
    rectangle: Rectangle,
    normals: tuple[Floats, ...],
    sides: tuple[Side | None, ...],
    reached: Floats | None = None,
) -> Floats:
    """The work's contour (n, 2): corners, and between them the edge places; up to the corners `reached`, where these
    lie further out."""
    ends = corners(rectangle, normals, sides)
    reached = ends if reached is None else reached
    points = []
    for k, inwards in enumerate(normals):
        side = sides[k]
        if side is not None:
            direction = np.array([-inwards[1], inwards[0]])
            start = middle(rectangle, k, inwards)
            # the searched rectangle may be longer than the side by a shadow's width at both ends
            first, last = ((corner - start) @ direction for corner in (reached[k - 1], reached[k]))
            on = (side.along > first) & (side.along < last)
            points.append(start + side.along[on, None] * direction + side.depth[on, None] * inwards)
        points.append(ends[k][None])
    return np.concatenate(points)
