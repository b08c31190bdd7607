"""One pair of parts: from a rough candidate to patches matched at full resolution, or the word that they don't fit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ..measure.overlap import NOISE_KEPT, noise_level, patch_shift, smoothed
from .fit import Matches, chance, consistent, left_over, robust_similarity
from .parts import Matrix
from .view import Grey, View, apply, at_full, at_level, inverse, shrink

Floats = npt.NDArray[np.float64]
PATCHES, FEW_PATCHES = 180, 64
_LARGEST_PATCH, _SMALLEST_PATCH = 64, 12
_CERTAIN_LOG10 = -7.0
_AGREEING_SHARE = 0.4
_CONSISTENT_PX = 1.5
_BENT_PX = 8.0  # a sheet that lay differently may move patches so far off the similarity
_LARGEST_AREA = 3000


@dataclass(frozen=True)
class PairFit:
    """Two views laid on one another: `matrix` takes full pixel centres of the first to the second's."""

    matrix: Matrix
    matches: Matches
    share: float
    across_px: float  # extent of the overlap where it is narrow
    centre: tuple[float, float]  # of the overlap, in the first view
    chance_log10: float

    def onto(self, match: int) -> Matrix:
        """The map of the pair moved so that this one match falls exactly."""
        linear = self.matrix[:, :2]
        return np.column_stack([linear, self.matches.second[match] - linear @ self.matches.first[match]])

    @property
    def typical_px(self) -> float:
        """Root mean square of what the similarity leaves between the patches."""
        return float(np.sqrt((left_over(self.matrix, self.matches) ** 2).sum(axis=1).mean()))

    @property
    def rotation_deg(self) -> float:
        """How far the second was turned against the first, clockwise on screen positive."""
        return -float(np.rad2deg(np.arctan2(self.matrix[1, 0], self.matrix[0, 0])))

    @property
    def scale_percent(self) -> float:
        """How much larger the second shows the work than the first."""
        return 100 * (float(np.hypot(self.matrix[0, 0], self.matrix[1, 0])) - 1)


def common_area(first: View, second: View, matrix: Matrix) -> Floats:
    """(n, 2) corners, in the first view, of the area where the work lies in both; empty when there is none."""
    ours = _corners(first).astype(np.float32)
    theirs = apply(inverse(matrix), _corners(second)).astype(np.float32)
    area, polygon = cv2.intersectConvexConvex(ours, theirs)
    if area <= 0 or polygon is None:
        return np.zeros((0, 2))
    return np.asarray(polygon.reshape(-1, 2), dtype=np.float64)


def _corners(view: View) -> Floats:
    box = view.work
    left, top, right, bottom = box.x - 0.5, box.y - 0.5, box.right - 0.5, box.bottom - 0.5
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


def share_and_width(first: View, second: View, matrix: Matrix) -> tuple[float, float]:
    """Area of the overlap as a share of the smaller part's, and its narrow extent in px."""
    polygon = common_area(first, second, matrix)
    if len(polygon) < 3:
        return 0.0, 0.0
    area = float(cv2.contourArea(polygon.astype(np.float32)))
    smaller = min(first.work.width * first.work.height, second.work.width * second.work.height)
    extents = polygon.max(axis=0) - polygon.min(axis=0)
    return area / smaller, area / float(extents.max())


def places(
    first: View, second: View, matrix: Matrix, level: int, spare: int, patches: int = PATCHES
) -> tuple[Floats, tuple[int, int]]:
    """(n, 2) top left corners in level pixels of the first view for patches that lie in both views, up to half of
    `spare` beyond the second, and the patch size, columns and rows: long where the overlap is narrow."""
    polygon = common_area(first, second, matrix) / level
    if len(polygon) < 3:
        return np.zeros((0, 2)), (0, 0)
    low, high = polygon.min(axis=0), polygon.max(axis=0)
    width = cv2.contourArea(polygon.astype(np.float32)) / float((high - low).max())
    narrow = int(np.clip(0.6 * width, _SMALLEST_PATCH, _LARGEST_PATCH)) // 2 * 2
    along = int(np.clip(_LARGEST_AREA / narrow, narrow, 2 * _LARGEST_PATCH)) // 2 * 2
    upright = high[1] - low[1] >= high[0] - low[0]
    size = (narrow, along) if upright else (along, narrow)
    step = max(narrow / 3, float(np.sqrt(np.prod(high - low) / patches)))
    room = np.maximum(high - low - size, 1.0)
    counts = np.maximum(1, np.ceil(room / step).astype(int) + 1)
    xs = np.linspace(low[0] + 1, max(low[0] + 1, high[0] - size[0] - 1), counts[0])
    ys = np.linspace(low[1] + 1, max(low[1] + 1, high[1] - size[1] - 1), counts[1])
    grid = np.floor(np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)) + 0.0
    inside = _fits(grid, size, spare, first, second, at_level(matrix, level), level)
    return grid[inside], size


def _fits(
    grid: Floats, size: tuple[int, int], spare: int, first: View, second: View, matrix: Matrix, level: int
) -> npt.NDArray[np.bool_]:
    fits = np.ones(len(grid), bool)
    ours, theirs = first.work, second.work
    for across in (0, size[0] - 1):
        for down in (0, size[1] - 1):
            corner = grid + np.array([across, down])
            moved = apply(matrix, corner)
            fits &= (corner[:, 0] >= ours.x / level) & (corner[:, 0] <= ours.right / level - 1)
            fits &= (corner[:, 1] >= ours.y / level) & (corner[:, 1] <= ours.bottom / level - 1)
            fits &= (moved[:, 0] >= theirs.x / level - spare / 2) & (moved[:, 1] >= theirs.y / level - spare / 2)
            fits &= moved[:, 0] <= theirs.right / level - 1 + spare / 2
            fits &= moved[:, 1] <= theirs.bottom / level - 1 + spare / 2
    return fits


def cut_out(view: View, x: int, y: int, width: int, height: int, level: int) -> Grey:
    """Grey of a rectangle in level pixels; what lies beyond the view repeats its rim."""
    most_x, most_y = view.width // level, view.height // level
    x0, y0 = min(max(x, 0), most_x - 1), min(max(y, 0), most_y - 1)
    x1, y1 = max(min(x + width, most_x), x0 + 1), max(min(y + height, most_y), y0 + 1)
    if level in view.kept:
        found = view.overview(level)[y0:y1, x0:x1]
    elif level == 1:
        found = view.grey(x0, y0, x1 - x0, y1 - y0)
    else:
        pixels = view.pixels(x0 * level, y0 * level, (x1 - x0) * level, (y1 - y0) * level)
        found = view.grey_of(shrink(pixels, level))
    rims = ((max(y0 - y, 0), max(y + height - y1, 0)), (max(x0 - x, 0), max(x + width - x1, 0)))
    return np.asarray(np.pad(found, rims, mode="edge")) if any(map(any, rims)) else np.asarray(found)


def warped_out(view: View, matrix: Matrix, x: int, y: int, width: int, height: int, level: int) -> Grey:
    """Grey, smoothed, of the view as seen through `matrix` (level pixels) over a rectangle of the other."""
    corners = apply(
        matrix, np.array([[x, y], [x + width - 1, y], [x, y + height - 1], [x + width - 1, y + height - 1]])
    )
    low = np.floor(corners.min(axis=0)).astype(int) - 4
    high = np.ceil(corners.max(axis=0)).astype(int) + 5
    window = smoothed(cut_out(view, int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]), level))
    flip = matrix[::-1, 1::-1]  # row before column
    offset = flip @ np.array([y, x]) + matrix[::-1, 2] - low[::-1]
    return np.asarray(
        ndimage.affine_transform(window, flip, offset, (height, width), np.float32, order=3, mode="nearest")
    )


def match_patches(
    first: View, second: View, matrix: Matrix, level: int, reach: int, patches_wanted: int = PATCHES
) -> Matches:
    """Patches of the overlap looked for within `reach` level pixels of where `matrix` (full pixels) puts them."""
    grid, size = places(first, second, matrix, level, reach, patches_wanted)
    local = at_level(matrix, level)
    patches = [cut_out(first, int(x), int(y), *size, level) for x, y in grid]
    noise = NOISE_KEPT * float(np.percentile([noise_level(p) for p in patches], 25)) if patches else 0.0
    centre = (np.array(size) - 1) / 2
    wide = (size[0] + 2 * reach, size[1] + 2 * reach)
    ours, theirs, informations, likenesses, tested = [], [], [], [], 0
    for (x, y), patch in zip(grid, patches, strict=True):
        plain = smoothed(patch)
        if plain.std() < max(1.4 * noise, 1e-5):
            continue
        tested += 1
        other = warped_out(second, local, int(x) - reach, int(y) - reach, *wide, level)
        shift = patch_shift(plain, other, reach)
        if shift is None:
            continue
        place = np.array([x, y]) + centre
        ours.append(place)
        theirs.append(apply(local, place + np.array([shift.dx_px, shift.dy_px])))
        informations.append(shift.information)
        likenesses.append(shift.likeness)
    offset = (level - 1) / 2
    count = len(ours)
    return Matches(
        np.array(ours).reshape(count, 2) * level + offset,
        np.array(theirs).reshape(count, 2) * level + offset,
        np.array(informations).reshape(count, 2, 2) / level**2,
        np.array(likenesses),
        tested,
    )


def levels_from(factor: int) -> Iterator[int]:
    """From the overview's factor down to 1, each step by 4 or less."""
    while factor > 1:
        yield factor
        factor = max(1, factor // 4) if factor > 4 else 1
    yield 1


def prove(first: View, second: View, rough: Matrix, factor: int) -> PairFit | None:
    """A candidate (in overview pixels) refined at overview level and held against chance; None when it fails."""
    return _refined(first, second, at_full(rough, factor), factor, reach=8, patches=FEW_PATCHES)


def refine(first: View, second: View, fit: PairFit, factor: int) -> PairFit | None:
    """Through the levels down to full resolution."""
    found: PairFit | None = fit
    previous = factor
    for level in levels_from(factor):
        if level == factor and factor > 1:
            continue
        reach = 6 if level == previous else 3 * (previous // level) // 2 + 4
        assert found is not None
        found = _refined(first, second, found.matrix, level, reach, PATCHES)
        if found is None:
            return None
        previous = level
    return found


def _refined(first: View, second: View, matrix: Matrix, level: int, reach: int, patches: int) -> PairFit | None:
    for _ in range(2):
        matches = match_patches(first, second, matrix, level, reach, patches)
        matrix, inside = robust_similarity(matches, matrix, _BENT_PX * level)
        inside &= consistent(matrix, matches, _CONSISTENT_PX * level)
        if inside.sum() < 5:
            return None
        left = np.linalg.norm(left_over(matrix, matches)[inside], axis=1)
        reach = max(6, int(np.ceil(np.percentile(left, 95) / level)) + 3)
    certain = chance(int(inside.sum()), matches.tested, _CONSISTENT_PX, reach)
    if certain > _CERTAIN_LOG10 or inside.sum() < _AGREEING_SHARE * matches.tested:
        return None
    share, across = share_and_width(first, second, matrix)
    polygon = common_area(first, second, matrix)
    if len(polygon) < 3:
        return None
    x, y = polygon.mean(axis=0)
    return PairFit(matrix, matches.keep(inside), share, across, (float(x), float(y)), certain)
