"""From the overview to the outline: the lid, the things on it, the straight sides of the work."""

from __future__ import annotations

import cv2
import numpy as np

from ..model import MM_PER_INCH, Box, Frame, Sides
from .contour import FourSides, corners, half, inner_side, middle, outermost, polygon
from .edges import Side, find_side
from .frame_shade import edge_behind_shade
from .lid import Picture, Surroundings, surroundings
from .outline import Outline, Point, whole_frame
from .piece import Piece
from .pieces import Floats, Rectangle, pieces_on_bed, rectangle_around, sort_out, without_glimmer, without_shades
from .skew import skew_of

_JOIN_MM = (0.6, 3.0)  # pieces nearer than this belong together; the wider only where the narrow finds no outline
_SEARCH_MM = 8.0
# the dark edge of a work can hardly be told from a dark lid, so it may lie further out than what stands out
_BEYOND_ALONE_MM = {"white": 1.5, "grey": 1.5, "black": 4.0, "open": 4.0}
_BEYOND_MM = 1.5  # beside other things
_MOST_SHEETS = 8  # looked at for edges of their own
_SHEET_FILL = 0.75
_AT_FRAME_PX = 2.5  # a side this near the frame, in pixels of the overview, runs out of it
_NOT_SQUARE = 0.014  # 0.8 degrees
_SUB_PIXEL = 6  # bits of cv2's fixed-point places


def trace(picture: Picture, block: int, frame: Frame) -> Outline:
    """The outline from the overview, each pixel of which stands for `block` by `block` pixels of the scan."""
    if min(picture.shape[:2]) < 16:
        return whole_frame(frame.width_px, frame.height_px, "the scan is too small to tell the work from the bed")
    inner_part = frame.outer == Sides(False, False, False, False)
    lid = None if inner_part else surroundings(picture, frame.bed.lid)
    if lid is None:
        return whole_frame(frame.width_px, frame.height_px)
    mm = block * MM_PER_INCH / (frame.ppi_x or 300.0)
    outline: Outline | None = None
    why = "nothing on the bed stands out from its surroundings"
    for join_mm in _JOIN_MM:
        pieces = pieces_on_bed(lid, mm, join_mm)
        if pieces:
            outline = _outline_of(picture, lid, pieces, mm, block, frame)
            if outline.found:
                return outline
        elif pieces is None:
            why = "too many things stand out from the bed to tell which of them is the work"
    return outline or whole_frame(frame.width_px, frame.height_px, why, lid.kind)


def _outline_of(
    picture: Picture, lid: Surroundings, pieces: list[Piece], mm: float, block: int, frame: Frame
) -> Outline:
    pieces = [without_shades(without_glimmer(piece, lid)) for piece in pieces]
    rectangles = [rectangle_around(piece) for piece in pieces]
    sorted_out = sort_out(picture, pieces, rectangles)
    rectangle = rectangles[sorted_out.main]
    normals = _normals(rectangle)
    alone = len(pieces) == 1
    outer_sides = frame.outer.left, frame.outer.bottom, frame.outer.right, frame.outer.top
    beyond = _BEYOND_ALONE_MM[lid.kind] if alone else _BEYOND_MM
    sides = _sides(picture, rectangle, normals, mm, lid, beyond, outer_sides)
    at_frame = [_at_frame(rectangle, normal, picture.shape) for normal in normals]
    runs_out = [out and side is None for out, side in zip(at_frame, sides, strict=True)]
    problem = _doubt(sides, runs_out, float(pieces[sorted_out.main].area) / max(rectangle.area, 1.0))
    if problem:
        return whole_frame(frame.width_px, frame.height_px, problem, lid.kind)
    # under a coarse header a page of text is thousands of things; second sheets are the largest
    sheets = sorted(sorted_out.others, key=lambda k: pieces[k].area)[-_MOST_SHEETS:]
    others = [k for k in sorted_out.others if k in sheets and _has_edges(picture, rectangles[k], mm, lid)]
    beside = [k for k in (*sorted_out.others, *sorted_out.beside) if k not in others]
    ends = corners(rectangle, normals, sides)
    outer = outermost(picture, rectangle, normals, sides, lid.grain)
    inner = polygon(rectangle, normals, tuple(inner_side(side) for side in sides))
    skew = skew_of(rectangle.turn, sides)
    return Outline(
        box=_to_frame(_box(outer * block, frame), runs_out, frame),
        corners=_clockwise(ends * block),
        skew_deg=skew.deg if skew else None,
        skew_error_deg=skew.error_deg if skew else 0.0,
        spans=_spans(inner, picture.shape, block, frame),
        rows_per_span=block,
        lid=lid.kind,
        sure=0.95,
        runs_out=Sides(left=runs_out[0], bottom=runs_out[1], right=runs_out[2], top=runs_out[3]),
        other_works=tuple(_upright(rectangles[k], block, frame) for k in others),
        left_out=tuple(_upright(rectangles[k], block, frame) for k in beside),
    )


def _has_edges(picture: Picture, rectangle: Rectangle, mm: float, lid: Surroundings) -> bool:
    """Whether a second thing is a sheet of its own, and not a part of what is drawn on a sheet hardly seen."""
    normals = _normals(rectangle)
    sides = _sides(picture, rectangle, normals, mm, lid, _BEYOND_MM)
    at_frame = [_at_frame(rectangle, normal, picture.shape) for normal in normals]
    return sum(out or side is not None for out, side in zip(at_frame, sides, strict=True)) >= 3


def _normals(rectangle: Rectangle) -> tuple[Floats, Floats, Floats, Floats]:
    """Unit vectors inwards from the left, bottom, right and top side."""
    return rectangle.right, -rectangle.down, -rectangle.right, rectangle.down


def _sides(
    picture: Picture,
    rectangle: Rectangle,
    normals: tuple[Floats, ...],
    mm: float,
    lid: Surroundings,
    beyond_mm: float,
    outer: tuple[bool, ...] = (False,) * 4,
) -> FourSides:
    """`outer`: sides (left, bottom, right, top) that may end just before the frame, hidden in their own shade."""
    found: list[Side | None] = []
    for side, inwards in enumerate(normals):
        across, along = half(rectangle, side)
        start, length = middle(rectangle, side, inwards), 0.96 * 2 * along
        if _at_frame(rectangle, inwards, picture.shape):
            # an inner side of a part runs out by nature
            near = edge_behind_shade(picture, start, inwards, length, mm, lid) if outer[side] else None
            found.append(near)
            continue
        reach = (-beyond_mm / mm - 2, min(_SEARCH_MM / mm, 0.6 * across))
        faint = lid.kind in ("black", "open")
        found.append(find_side(picture, start, inwards, length, reach, lid.grain, faint))
    return _square((found[0], found[1], found[2], found[3]))


def _square(sides: FourSides) -> FourSides:
    """The sides without one that is not square to the others: a line within the picture, not the work's edge."""
    seen = [side for side in sides if side is not None]
    if len(seen) < 3:
        return sides
    slopes = np.array([side.slope for side in seen])
    usual = float(np.median(slopes))
    left, bottom, right, top = (None if side is None or _turned(side, usual) else side for side in sides)
    return left, bottom, right, top


def _turned(side: Side, slope: float) -> bool:
    slack = 2 * side.spread / max(1.0, float(np.ptp(side.along)))
    return abs(side.slope - slope) > _NOT_SQUARE + slack


def _at_frame(rectangle: Rectangle, inwards: Floats, shape: tuple[int, ...]) -> bool:
    """Whether that side of the rectangle lies along the frame of the scan."""
    rows, columns = shape[:2]
    side = int(np.argmax([inwards @ n for n in _normals(rectangle)]))
    x, y = middle(rectangle, side, inwards)
    gap = min(x, columns - x) if abs(inwards[0]) > abs(inwards[1]) else min(y, rows - y)
    return bool(gap < _AT_FRAME_PX)


def _doubt(sides: FourSides, runs_out: list[bool], filled: float) -> str:
    """Why this is no outline; "" when it is one. `filled`: share of the rectangle that stands out from the lid."""
    names = ("left", "bottom", "right", "top")
    open_sides = [n for n, side, out in zip(names, sides, runs_out, strict=True) if side is None and not out]
    if open_sides:
        return f"no edge of the work could be told from the lid on the {' and '.join(open_sides)}"
    if filled < _SHEET_FILL and any(runs_out):
        return "what stands out from its surroundings does not fill a sheet"
    return ""


def _box(polygon: Floats, frame: Frame) -> Box:
    low = np.floor(np.clip(polygon.min(axis=0), 0, None)).astype(int)
    high = np.ceil(np.minimum(polygon.max(axis=0), (frame.width_px, frame.height_px))).astype(int)
    return Box(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))


def _to_frame(box: Box, runs_out: list[bool], frame: Frame) -> Box:
    """The box up to the frame on every side (left, bottom, right, top) that runs out: no edge was seen there, and the
    overview leaves out the last rows and columns that fill no block."""
    left, top = 0 if runs_out[0] else box.x, 0 if runs_out[3] else box.y
    right = frame.width_px if runs_out[2] else box.right
    bottom = frame.height_px if runs_out[1] else box.bottom
    return Box(left, top, right - left, bottom - top)


def _upright(rectangle: Rectangle, block: int, frame: Frame) -> Box:
    centre = np.array([rectangle.x, rectangle.y])
    arms = rectangle.right * rectangle.half_width, rectangle.down * rectangle.half_height
    ends = np.array([centre + i * arms[0] + j * arms[1] for i in (-1, 1) for j in (-1, 1)])
    return _box(ends * block, frame)


def _clockwise(corners: Floats) -> tuple[Point, Point, Point, Point]:
    bottom_left, bottom_right, top_right, top_left = ((float(x), float(y)) for x, y in corners)
    return top_left, top_right, bottom_right, bottom_left


def _spans(polygon: Floats, shape: tuple[int, ...], block: int, frame: Frame) -> Floats:
    """First and last column edge surely inside the work, a pair for each row of the overview."""
    filled = np.zeros(shape[:2], np.uint8)
    # pixel centres lie at whole numbers for cv2
    places = np.round((polygon - 0.5) * 2**_SUB_PIXEL).astype(np.int32)
    cv2.fillPoly(filled, [places], 1, shift=_SUB_PIXEL)
    inner = np.asarray(cv2.erode(filled, np.ones((3, 3), np.uint8)))
    some = inner.any(axis=1)
    first = inner.argmax(axis=1).astype(np.float64)
    past = shape[1] - inner[:, ::-1].argmax(axis=1).astype(np.float64)
    spans = np.stack((first * block, past * block), axis=1)
    spans[past == shape[1], 1] = frame.width_px  # the overview leaves out a last block that is not full
    spans[~some] = np.nan
    return spans
