"""Patches of one view looked for on another: roughly to whole pixels, or finely by least squares."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ..measure.overlap import NOISE_KEPT, Blind, PatchShift, noise_level, patch_shift, rough_shift, smoothed
from .area import PATCHES, fits, places
from .bed import blind_at, without_marks, without_streaks
from .bend import Bend
from .fit import Matches
from .parts import Matrix
from .view import Grey, View, apply, at_level, in_strip, shrink

Floats = npt.NDArray[np.float64]
_TEXTURED = 1.4  # times the noise: what a patch must show to be looked for
_WELL_TEXTURED = 4.0  # one that must be found wherever the parts show the same
_MUCH_HIDDEN, _COVERED = 0.3, 0.7  # share of a patch on marks of the bed: not missed where not found; covered by them

_LEAST_OUTSIDE, _LEAST_SHARE_OUTSIDE = 16, 0.25  # patches that must remain outside the stitch strips


def cut_out(view: View, x: int, y: int, width: int, height: int, level: int, as_it_is: bool = False) -> Grey:
    """Grey of a rectangle in level pixels, without what is fixed to the bed unless wanted `as_it_is`; what lies beyond
    the view repeats its rim."""
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
    if not as_it_is:
        found = without_marks(without_streaks(found, view, x0, y0, level), view, x0, y0, level)
    rims = ((max(y0 - y, 0), max(y + height - y1, 0)), (max(x0 - x, 0), max(x + width - x1, 0)))
    return np.asarray(np.pad(found, rims, mode="edge")) if any(map(any, rims)) else np.asarray(found)


def warped_out(
    view: View, matrix: Matrix, x: int, y: int, width: int, height: int, level: int, fine: bool = True
) -> Grey:
    """Grey, smoothed, of the view as seen through `matrix` (level pixels) over a rectangle of the other; not `fine`
    straight between pixels, to the nearest 1/32 of one."""
    corners = apply(
        matrix, np.array([[x, y], [x + width - 1, y], [x, y + height - 1], [x + width - 1, y + height - 1]])
    )
    low = np.floor(corners.min(axis=0)).astype(int) - 4
    high = np.ceil(corners.max(axis=0)).astype(int) + 5
    window = smoothed(cut_out(view, int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]), level))
    if not fine:
        shift = apply(matrix, np.array([[float(x), float(y)]]))[0] - low
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return np.asarray(cv2.warpAffine(window, np.column_stack([matrix[:, :2], shift]), (width, height), flags=flags))
    flip = matrix[::-1, 1::-1]  # row before column
    offset = flip @ np.array([y, x]) + matrix[::-1, 2] - low[::-1]
    return np.asarray(
        ndimage.affine_transform(window, flip, offset, (height, width), np.float32, order=3, mode="nearest")
    )


def match_patches(
    first: View,
    second: View,
    matrix: Matrix,
    level: int,
    reach: int,
    patches_wanted: int = PATCHES,
    fine: bool = True,
    bend: Bend | None = None,
    in_strips: bool = False,
) -> Matches:
    """Patches of the overlap looked for within `reach` level pixels of where `matrix` (full pixels), and `bend` after
    it, put them: those outside the stitch strips of both parts, which may show the work twice, or (`in_strips`) only
    those in them. Strips that leave too little else are no strips."""
    grid, size = places(first, second, matrix, level, reach, patches_wanted)
    barred = _in_strips(grid, size, first, second, matrix, level)
    if (~barred).sum() < max(_LEAST_OUTSIDE, _LEAST_SHARE_OUTSIDE * len(grid)):
        barred[:] = False
    whole = fits(grid, size, 0, first, second, at_level(matrix, level), level)
    patches = [cut_out(first, int(x), int(y), *size, level) for x, y in grid]
    noise = NOISE_KEPT * float(np.percentile([noise_level(p) for p in patches], 25)) if patches else 0.0
    chosen = np.flatnonzero(barred == in_strips)
    grid, whole, patches = grid[chosen], whole[chosen], [patches[i] for i in chosen]
    centre = (np.array(size) - 1) / 2
    seen = _Seen(first, second, _local_maps(matrix, bend, grid + centre, level), size, reach, level, fine)
    ours, theirs, found, plain_ones, lost = [], [], [], [], []
    tested = covered = 0
    for i, patch in enumerate(patches):
        plain = smoothed(patch)
        contrast = float(plain.std())
        if contrast < max(_TEXTURED * noise, 1e-5):
            continue
        blind = seen.blind(i, grid[i])
        hidden = _hidden_share(blind, reach)
        place = grid[i] + centre
        if hidden > _COVERED:
            covered += 1
            if whole[i]:
                lost.append(place)
            continue
        tested += 1
        shift = seen.shift_of(plain, i, grid[i], blind)
        well = bool(whole[i]) and hidden < _MUCH_HIDDEN and contrast > max(_WELL_TEXTURED * noise, 1e-4)
        if shift is not None:
            plain_ones.append(well)
            ours.append(place)
            theirs.append(apply(seen.maps(i), place + np.array([shift.dx_px, shift.dy_px])))
            found.append(shift)
        elif well:
            lost.append(place)
    offset, count = (level - 1) / 2, len(ours)
    return Matches(
        np.array(ours).reshape(count, 2) * level + offset,
        np.array(theirs).reshape(count, 2) * level + offset,
        np.array([s.information for s in found]).reshape(count, 2, 2) / level**2,
        np.array([s.likeness for s in found]),
        tested,
        np.array(lost).reshape(-1, 2) * level + offset,
        np.array(plain_ones, dtype=bool),
        covered,
    )


def _in_strips(
    grid: Floats, size: tuple[int, int], first: View, second: View, matrix: Matrix, level: int
) -> npt.NDArray[np.bool_]:
    ours = (grid + (np.array(size) - 1) / 2) * level + (level - 1) / 2
    found = np.zeros(len(grid), bool)
    for view, at in ((first, ours), (second, apply(matrix, ours))):
        found |= in_strip(view, at[:, 0], at[:, 1], size[0] * level, size[1] * level)
    return found


def _local_maps(matrix: Matrix, bend: Bend | None, middles: Floats, level: int) -> Callable[[int], Matrix]:
    """For each patch the map between level pixels around its middle."""
    plain = at_level(matrix, level)
    if bend is None:
        return lambda _: plain
    full = middles * level + (level - 1) / 2
    moved, slopes = bend.at(full), bend.slopes(full)

    def bent(i: int) -> Matrix:
        linear = matrix[:, :2] + slopes[i]
        shift = matrix[:, :2] @ full[i] + matrix[:, 2] + moved[i] - linear @ full[i]
        return at_level(np.column_stack([linear, shift]), level)

    return bent


def _hidden_share(blind: Blind | None, reach: int) -> float:
    """How much of a patch the marks of the bed hide, on it or where it is expected."""
    if blind is None:
        return 0.0
    rows, columns = blind.first.shape
    return float((blind.first | blind.second[reach : reach + rows, reach : reach + columns]).mean())


class _Seen:
    """The second view as it must look around each patch of the first."""

    def __init__(
        self,
        first: View,
        view: View,
        maps: Callable[[int], Matrix],
        size: tuple[int, int],
        reach: int,
        level: int,
        fine: bool,
    ) -> None:
        self.first, self.size = first, size
        self.view, self.maps, self.level, self.fine = view, maps, level, fine
        self.reach = reach
        self.wide = (size[0] + 2 * reach, size[1] + 2 * reach)

    def shift_of(self, plain: Grey, patch: int, corner: Floats, blind: Blind | None) -> PatchShift | None:
        """What `plain`, whose top left corner is `corner`, is found shifted by."""
        x, y = int(corner[0]) - self.reach, int(corner[1]) - self.reach
        other = warped_out(self.view, self.maps(patch), x, y, *self.wide, self.level, self.fine)
        if not self.fine:
            return rough_shift(plain, other, self.reach)
        return patch_shift(plain, other, self.reach, blind)

    def blind(self, patch: int, corner: Floats) -> Blind | None:
        """Where marks of the bed lie on the patch, and on what it is looked for in."""
        x, y = int(corner[0]), int(corner[1])
        ours = blind_at(self.first, x, y, *self.size, self.level)
        matrix = self.maps(patch)
        left, top = x - self.reach, y - self.reach
        right, bottom = left + self.wide[0] - 1, top + self.wide[1] - 1
        corners = apply(matrix, np.array([[left, top], [right, top], [left, bottom], [right, bottom]], np.float64))
        low, high = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int) + 1
        columns, rows = (int(n) for n in high - low)
        theirs = blind_at(self.view, int(low[0]), int(low[1]), columns, rows, self.level)
        if ours is None and theirs is None:
            return None
        second = np.zeros((self.wide[1], self.wide[0]), bool)
        if theirs is not None:
            onto = np.column_stack([matrix[:, :2], corners[0] - low])
            flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
            second = cv2.warpAffine(theirs.astype(np.uint8), onto, self.wide, flags=flags) > 0
        return Blind(np.zeros((self.size[1], self.size[0]), bool) if ours is None else ours, second)
