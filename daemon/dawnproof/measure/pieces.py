"""The separate things on the bed: which of them is the work, which a second work, which lies beside it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from .lid import Picture, Surroundings
from .piece import Piece

Floats = npt.NDArray[np.float64]

_LEAST_PIECE_MM = 5.0  # smaller things on the bed are dust
_MOST_ROOM = 96  # overviews: what the masks of all things may hold; more, only a hatching under a wrong resolution asks
_SECOND_WORK_SHARE = 0.3  # of the largest work's area: an uniform sheet of that size is one
_LEAST_SECOND_SHARE = 0.06
_TARGET_FLAT_SHARE = 0.5
_LEAST_PATCHES = 9
_TARGET_TONES = 8  # steps of tone a channel that tell patches apart
_FINE_TONES = 4  # of these steps in one of them: the tones of a patch lie in a few, those of a picture in all
_FINE_A_PATCH = 4
_TIGHT_SHARE = 0.93
_FAR_LARGER = 8.0  # a thing so much larger than any other sheet is the work, whatever it looks like
_LOOK_PX = 400  # side of the picture of a piece that is enough to tell a target
_FLAT_SWING = 0.04
_CLEAR_THING = 1.5
_LONGEST_WORK = 4.5  # length to width; longer things are rulers
_TOUCHES = 0.3  # share of a piece's length along a frame: a work that runs out there shows more
_NECK = 0.12  # of a work's shorter side: what hangs on it by less is a shade of the lid beside it
_RIM_PX = 8  # around a piece: more than the smoothing of a glimmer reaches
_ROOM = 3.0  # thresholds that the glimmers of a dark room keep below
_SOFT = 0.125  # thresholds a pixel: a glimmer fades more slowly, a work's edge much faster
_TURNED = 0.06  # what a square loses along the side of a work turned by 3.4 degrees, share of the square


@dataclass(frozen=True, slots=True, eq=False)
class Rectangle:
    """A turned rectangle on the overview: centre, half sizes along and across its own axes, turn in radians."""

    x: float
    y: float
    half_width: float
    half_height: float
    turn: float

    @property
    def right(self) -> Floats:
        return np.array([np.cos(self.turn), np.sin(self.turn)])

    @property
    def down(self) -> Floats:
        return np.array([-np.sin(self.turn), np.cos(self.turn)])

    @property
    def area(self) -> float:
        return 4 * self.half_width * self.half_height


def pieces_on_bed(lid: Surroundings, mm: float, join_mm: float) -> list[Piece] | None:
    """The separate things on the bed, largest first; pieces nearer than `join_mm` are one. None where
    there are more than there is room for: hundreds of long lines, each with a box as large as the page."""
    things = (1 - lid.reach).astype(np.uint8)
    size = max(1, round(join_mm / mm / 2))
    kernel = np.ones((2 * size + 1, 2 * size + 1), np.uint8)
    padded = cv2.copyMakeBorder(things, size, size, size, size, cv2.BORDER_CONSTANT, value=0)
    joined = np.asarray(cv2.morphologyEx(padded, cv2.MORPH_CLOSE, kernel))[size:-size, size:-size]
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    least = (_LEAST_PIECE_MM / mm) ** 2
    order = sorted(range(1, count), key=lambda k: -int(stats[k, cv2.CC_STAT_AREA]))
    boxes = stats[1:][stats[1:, cv2.CC_STAT_AREA] >= least].astype(np.int64)
    if int((boxes[:, cv2.CC_STAT_WIDTH] * boxes[:, cv2.CC_STAT_HEIGHT]).sum()) > _MOST_ROOM * things.size:
        return None
    pieces = []
    for k in order:
        left, top, width, height, area = (int(value) for value in stats[k])
        if area < least:
            break
        window = slice(top, top + height), slice(left, left + width)
        mask = ((labels[window] == k) & (things[window] > 0)).astype(np.uint8)
        # a blotch of a dark room hardly passes the threshold anywhere, a thing does
        if float(lid.distance[window][mask > 0].max(initial=0.0)) > _CLEAR_THING * lid.threshold:
            pieces.append(Piece(mask, top, left, (things.shape[0], things.shape[1])))
    return pieces


def without_shades(piece: Piece) -> Piece:
    """The piece without the shade of a lid that hangs on it by a narrow neck, where it is only that shade that touches
    the frame. A work that runs out of the frame, by a side or a corner, stays as it is."""
    if not _touches_in_passing(piece):
        return piece
    rows, columns = (np.flatnonzero(piece.mask.any(axis=axis)) for axis in (1, 0))
    neck = max(7, round(_NECK * min(len(rows), len(columns)))) | 1
    core = np.asarray(cv2.erode(piece.mask, np.ones((neck, neck), np.uint8), borderValue=0))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(core, connectivity=4)
    if count < 2:
        return piece
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    reach = neck + 2 * round(_TURNED * neck + 2)
    grown = cv2.dilate((labels == largest).astype(np.uint8), np.ones((reach, reach), np.uint8))
    kept = piece.less(np.asarray(cv2.bitwise_and(grown, piece.mask), np.uint8))
    return piece if _touches_in_passing(kept) else kept


def without_glimmer(piece: Piece, lid: Surroundings) -> Piece:
    """The piece without a glimmer of the dark room that reaches from the frame to the work beside an open lid: faint
    all over, and fading without an edge. A work that runs out of the frame shows its tone or its edges there."""
    if lid.kind != "open" or not any(line.any() for line in piece.frame_lines(piece.mask)):
        return piece
    wide = piece.with_rim(_RIM_PX)
    distance, mask = lid.distance[wide.window], wide.mask
    work = ((distance > _ROOM * lid.threshold) & (mask > 0)).astype(np.uint8)
    work = np.asarray(cv2.dilate(cv2.morphologyEx(work, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.ones((5, 5))))
    if int(work.sum()) < 0.5 * piece.area:
        return piece
    _, labels = cv2.connectedComponents(mask & (1 - work), connectivity=4)
    smooth = cv2.blur(distance, (5, 5))
    fall = np.hypot(cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)) / 8
    kept = mask.copy()
    at_frame = np.unique(np.concatenate(wide.frame_lines(labels)))
    for part in at_frame[at_frame > 0]:  # only these: a drawing leaves thousands of faint specks within itself
        glimmer = np.asarray(labels == part).astype(np.uint8)
        rim = (np.asarray(cv2.dilate(glimmer, np.ones((3, 3), np.uint8))) > glimmer) & (lid.reach[wide.window] > 0)
        if rim.any() and float(np.quantile(fall[rim], 0.8)) < _SOFT * lid.threshold:
            kept[glimmer > 0] = 0
    if int(kept.sum()) == piece.area:
        return piece
    # the noise at the glimmer's rim goes with it
    _, labels = cv2.connectedComponents(kept, connectivity=8)
    return wide.less(np.asarray(np.isin(labels, np.unique(labels[(work > 0) & (kept > 0)])), np.uint8))


def _touches_in_passing(piece: Piece) -> bool:
    """Whether the frame cuts only a little of it, at any of the four sides."""
    rows, columns = (np.flatnonzero(piece.mask.any(axis=axis)) for axis in (1, 0))
    sides = zip(piece.frame_lines(piece.mask), (rows, rows, columns, columns), strict=True)
    return any(0 < int(side.sum()) < _TOUCHES * (along[-1] - along[0] + 1) for side, along in sides)


def rectangle_around(piece: Piece) -> Rectangle:
    """Rectangle around the piece, turned as most of its contour runs; contour on the frame itself does not count."""
    contours, _ = cv2.findContours(piece.mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    points = np.concatenate([c.reshape(-1, 2) for c in contours]).astype(np.float64) + (piece.left, piece.top) + 0.5
    hull = np.asarray(cv2.convexHull(points.astype(np.float32)), np.float64).reshape(-1, 2)
    turn = _main_turn(hull, piece.shape)
    right, down = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    along, across = points @ right, points @ down
    low, high = np.array([along.min(), across.min()]) - 0.5, np.array([along.max(), across.max()]) + 0.5
    middle = (low + high) / 2
    centre = middle[0] * right + middle[1] * down
    return Rectangle(centre[0], centre[1], (high[0] - low[0]) / 2, (high[1] - low[1]) / 2, turn)


def _main_turn(hull: Floats, shape: tuple[int, ...]) -> float:
    """Direction of the hull's sides modulo a right angle, -45 to 45 degrees, in radians."""
    step = np.diff(hull, axis=0, append=hull[:1]).astype(np.float64)
    following = np.roll(hull, -1, axis=0)
    rows, columns = shape[:2]
    on_frame = np.zeros(len(hull), bool)
    for axis, end in ((0, columns), (1, rows)):
        for place in (0.5, end - 0.5):
            on_frame |= (np.abs(hull[:, axis] - place) < 1.5) & (np.abs(following[:, axis] - place) < 1.5)
    length = np.hypot(*step.T)
    length[on_frame] = 0.0
    if length.sum() < 8:
        return 0.0
    angle = np.arctan2(step[:, 1], step[:, 0])
    bins = np.bincount((np.round(np.degrees(angle)) % 90).astype(int), weights=length, minlength=90)
    spread = sum(np.roll(bins, k) for k in (-2, -1, 0, 1, 2))
    mode = np.radians(int(np.argmax(spread)))
    off = (angle - mode + np.pi / 4) % (np.pi / 2) - np.pi / 4
    near = np.abs(off) < np.radians(4)
    turn = mode + float((off * length)[near].sum() / max(length[near].sum(), 1e-9))
    return float((turn + np.pi / 4) % (np.pi / 2) - np.pi / 4)


@dataclass(frozen=True, slots=True)
class Sorted:
    """Indices of the pieces: the work, what may be further works, and things beside it (target, ruler, weight)."""

    main: int
    others: tuple[int, ...]
    beside: tuple[int, ...]


def sort_out(picture: Picture, pieces: list[Piece], rectangles: list[Rectangle]) -> Sorted:
    """The largest sheet is the work; another sheet is a second work unless it is uniform or looks like a target."""
    flat = [k for k, r in enumerate(rectangles) if _like_a_sheet(r)]
    sheets = [k for k in flat if not _like_a_target(picture, pieces[k])]
    main = max(sheets or range(len(pieces)), key=lambda k: rectangles[k].area)
    largest = max(flat or [main], key=lambda k: rectangles[k].area)
    if rectangles[largest].area > _FAR_LARGER * rectangles[main].area:
        main = largest
    others: list[int] = []
    beside: list[int] = []
    for k, rectangle in enumerate(rectangles):
        if k == main or _inside(rectangle, rectangles[main]):
            continue
        share = rectangle.area / rectangles[main].area
        filled = float(pieces[k].area) / max(rectangle.area, 1.0)
        drawn_on = share >= _SECOND_WORK_SHARE or not _uniform(picture, pieces[k])
        second = k in sheets and share >= _LEAST_SECOND_SHARE and filled > 0.6 and drawn_on
        (others if second else beside).append(k)
    return Sorted(main, tuple(others), tuple(beside))


def _like_a_target(picture: Picture, piece: Piece) -> bool:
    """Flat patches of many clearly different tones with nothing between them: a colour or grey target."""
    tones, flat = _flat_tones(picture, piece)
    if flat < _TARGET_FLAT_SHARE:
        return False
    cells, fine = (np.unique(np.round(tones * steps).astype(np.int64), axis=0, return_counts=True)[1]
                   for steps in (_TARGET_TONES, _TARGET_TONES * _FINE_TONES))  # fmt: skip
    patches = int((cells >= max(4.0, 0.006 * len(tones))).sum())
    tight = np.sort(fine)[::-1][: _FINE_A_PATCH * patches].sum() / max(len(tones), 1)
    return patches >= _LEAST_PATCHES and bool(tight >= _TIGHT_SHARE)


def _uniform(picture: Picture, piece: Piece) -> bool:
    """One flat tone nearly everywhere: a weight or a grey card, nothing drawn on it."""
    tones, flat = _flat_tones(picture, piece)
    if flat < _TARGET_FLAT_SHARE or not len(tones):
        return False
    return bool((np.abs(tones - np.median(tones, axis=0)).max(axis=1) < 0.06).mean() > 0.9)


def _flat_tones(picture: Picture, piece: Piece) -> tuple[Picture, float]:
    """Tones (n, channels) of the piece where its neighbourhood is flat, and the share of it that is."""
    inner = np.asarray(cv2.erode(piece.mask, np.ones((5, 5), np.uint8), borderValue=0)) > 0
    if inner.sum() < 25:
        return picture[:0, 0], 0.0
    rows, columns = np.flatnonzero(inner.any(axis=1)), np.flatnonzero(inner.any(axis=0))
    step = max(1, max(len(rows), len(columns)) // _LOOK_PX)
    cut = (slice(rows[0], rows[-1] + 1, step), slice(columns[0], columns[-1] + 1, step))
    view, mask, box = np.ascontiguousarray(picture[piece.window][cut]), inner[cut], np.ones((3, 3), np.uint8)
    swing = np.asarray(cv2.dilate(view, box)) - np.asarray(cv2.erode(view, box))
    flat = mask.copy()
    for layer in np.moveaxis(swing.reshape(*mask.shape, -1), 2, 0):
        flat &= layer < _FLAT_SWING
    return view[flat], float(flat.sum() / mask.sum())


def _like_a_sheet(rectangle: Rectangle) -> bool:
    short, long = sorted((rectangle.half_width, rectangle.half_height))
    return long <= _LONGEST_WORK * short


def _inside(one: Rectangle, other: Rectangle) -> bool:
    offset = np.array([one.x - other.x, one.y - other.y])
    across, down = abs(offset @ other.right), abs(offset @ other.down)
    return bool(across < other.half_width and down < other.half_height)
