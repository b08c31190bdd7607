"""How far one small patch of a part lies from where it is expected on another part.

Two steps: the whole-pixel place by normalised cross-correlation, then least squares on the grey values with gain and
offset (Lucas and Kanade 1981, with the mean of both gradients after Benhimane and Malis 2004), weighted against
dust. Both patches are smoothed alike before, so that spline interpolation adds no bias of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Grey = npt.NDArray[np.float32]
SMOOTH_PX = 0.8
# white noise keeps this share of its standard deviation after smoothing by SMOOTH_PX
NOISE_KEPT = 0.345
_ITERATIONS = 4
_SETTLED_PX = 0.002
_LEAST_SEEN = 0.3
_ROUGH_INFORMATION = np.eye(2) / 0.3**2


@dataclass(frozen=True, slots=True)
class PatchShift:
    """The first patch at x shows what the second shows at x + (dx_px, dy_px). `information` is the inverse of the
    (2, 2) covariance in px; `likeness` the correlation after the shift."""

    dx_px: float
    dy_px: float
    information: npt.NDArray[np.float64]
    likeness: float


@dataclass(frozen=True, slots=True)
class Blind:
    """Where a patch, and the larger piece it is looked for in, show something else than the work: bool, of their
    shapes."""

    first: npt.NDArray[np.bool_]
    second: npt.NDArray[np.bool_]


def smoothed(grey: npt.NDArray[np.float32]) -> Grey:
    """Grey values as the comparison sees them."""
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), SMOOTH_PX, borderType=cv2.BORDER_REFLECT))


def noise_level(grey: npt.NDArray[np.float32]) -> float:
    """Standard deviation of white noise, from the median of the second difference in both directions, which is
    blind to slopes and edges (Immerkaer 1996)."""
    second = cv2.filter2D(grey, cv2.CV_32F, np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32))
    inner = second[1:-1, 1:-1]
    return float(np.median(np.abs(inner)) / 0.6745 / 6.0) if inner.size else 0.0


def likeness_surface(first: Grey, second: Grey) -> Grey:
    """Correlation of `first` with every placing of it inside the larger `second`."""
    found = cv2.matchTemplate(second, first, cv2.TM_CCOEFF_NORMED)
    return np.asarray(np.where(np.isfinite(found), found, 0.0), dtype=np.float32)


def patch_shift(first: Grey, second: Grey, margin: int, blind: Blind | None = None) -> PatchShift | None:
    """`first` (n, m) against `second` (n + 2 margin, m + 2 margin) centred on the expected place, both smoothed.
    Where either is `blind`, the fine comparison does not look.

    None when the best place lies on the rim of the search or the least squares do not settle within a pixel of it.
    """
    rough = rough_shift(first, second, margin)
    if rough is None:
        return None
    seen = None
    if blind is not None:
        y, x = margin + round(rough.dy_px), margin + round(rough.dx_px)
        rows, columns = first.shape
        seen = ~(blind.first | blind.second[y : y + rows, x : x + columns]).ravel()
        if seen.mean() < _LEAST_SEEN:
            return None
    return _least_squares(first, second, margin, rough.dx_px, rough.dy_px, seen)


def rough_shift(first: Grey, second: Grey, margin: int) -> PatchShift | None:
    """As `patch_shift`, within about a third of a pixel: the top of a parabola through the best whole-pixel place and
    its neighbours. `information` says no more than that."""
    surface = likeness_surface(first, second)
    row, column = (int(i) for i in np.unravel_index(int(np.argmax(surface)), surface.shape))
    if margin > 1 and (row in (0, 2 * margin) or column in (0, 2 * margin)):
        return None
    dy = row - margin + _top(surface[row - 1 : row + 2, column])
    dx = column - margin + _top(surface[row, column - 1 : column + 2])
    return PatchShift(dx, dy, _ROUGH_INFORMATION, float(surface[row, column]))


def _top(three: Grey) -> float:
    """Where the parabola through three values is highest, from the middle one; 0 where they are no hill."""
    if len(three) < 3:
        return 0.0
    before, middle, after = (float(v) for v in three)
    hollow = 2 * middle - before - after
    return float(np.clip((after - before) / (2 * hollow), -0.5, 0.5)) if hollow > 0 else 0.0


def _least_squares(
    first: Grey, second: Grey, margin: int, dx: float, dy: float, seen: npt.NDArray[np.bool_] | None
) -> PatchShift | None:
    from scipy import ndimage  # only joins come here, and every check is loaded with this package

    rows, columns = first.shape
    start_x, start_y = dx, dy
    spline = ndimage.spline_filter(second, order=3, output=np.float32)
    grad_first = np.gradient(first)
    mean = first - first.mean()
    for _ in range(_ITERATIONS):
        moved = ndimage.affine_transform(
            spline, np.ones(2), (margin + dy, margin + dx), (rows, columns), order=3, mode="mirror", prefilter=False
        )
        grad = np.gradient(moved)
        # b + gx sx + gy sy = gain a + offset: unknown sx, sy, gain, offset
        gx, gy = (grad[1] + grad_first[1]) / 2, (grad[0] + grad_first[0]) / 2
        design = np.stack([gx.ravel(), gy.ravel(), -mean.ravel(), -np.ones(mean.size, np.float32)], axis=1)
        wanted = -moved.ravel()
        if seen is not None:
            design, wanted = design[seen], wanted[seen]
        solved = _robust(design.astype(np.float64), wanted.astype(np.float64))
        if solved is None:
            return None
        (sx, sy, *_), information = solved
        dx, dy = dx + sx, dy + sy
        if max(abs(dx - start_x), abs(dy - start_y)) > 1.5:
            return None
        if max(abs(sx), abs(sy)) < _SETTLED_PX:
            break
    moved_mean = moved - moved.mean()
    energy = float(np.sqrt((mean**2).sum() * (moved_mean**2).sum()))
    likeness = float((mean * moved_mean).sum() / energy) if energy > 0 else 0.0
    return PatchShift(float(dx), float(dy), information, likeness)


def _robust(
    design: npt.NDArray[np.float64], wanted: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]] | None:
    """Two rounds of Huber-weighted least squares: solution, information of the shift with the rest solved out."""
    weight = np.ones(len(wanted))
    spread = 0.0
    for _ in range(2):
        weighted = design * weight[:, None]
        normal = design.T @ weighted
        try:
            solution = np.linalg.solve(normal, weighted.T @ wanted)
        except np.linalg.LinAlgError:
            return None
        left = wanted - design @ solution
        spread = float(np.median(np.abs(left)) / 0.6745) + 1e-9
        weight = np.minimum(1.0, 2.0 * spread / np.maximum(np.abs(left), 1e-12))
    rest = normal[2:, 2:]
    shift = normal[:2, :2] - normal[:2, 2:] @ np.linalg.solve(rest, normal[2:, :2])
    # smoothing makes neighbouring errors alike: about one independent value in four
    return np.asarray(solution), np.asarray(shift / (4.0 * spread**2))
