"""What two views share once they are laid on one another, and where patches of it are taken."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from .parts import Matrix
from .view import View, apply, at_level, inverse

Floats = npt.NDArray[np.float64]
PATCHES = 180
_LARGEST_PATCH, _SMALLEST_PATCH = 64, 12
_LARGEST_AREA = 3000


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
    inside = fits(grid, size, spare, first, second, at_level(matrix, level), level)
    return grid[inside], size


def fits(
    grid: Floats, size: tuple[int, int], spare: int, first: View, second: View, matrix: Matrix, level: int
) -> npt.NDArray[np.bool_]:
    """Which patches lie in both views, up to half of `spare` beyond the second; `matrix` between level pixels."""
    fitting = np.ones(len(grid), bool)
    ours, theirs = first.work, second.work
    for across in (0, size[0] - 1):
        for down in (0, size[1] - 1):
            corner = grid + np.array([across, down])
            moved = apply(matrix, corner)
            fitting &= (corner[:, 0] >= ours.x / level) & (corner[:, 0] <= ours.right / level - 1)
            fitting &= (corner[:, 1] >= ours.y / level) & (corner[:, 1] <= ours.bottom / level - 1)
            fitting &= (moved[:, 0] >= theirs.x / level - spare / 2) & (moved[:, 1] >= theirs.y / level - spare / 2)
            fitting &= moved[:, 0] <= theirs.right / level - 1 + spare / 2
            fitting &= moved[:, 1] <= theirs.bottom / level - 1 + spare / 2
    return fitting
