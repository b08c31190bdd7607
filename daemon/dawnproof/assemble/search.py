"""Whether two parts touch, and how: every candidate is proved, and a place that is not the only one is no place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..measure.overlap import likeness_surface, smoothed
from .coarse import Candidate, bed_marks, correlation_candidates, feature_candidates, normalised
from .parts import Matrix
from .register import PairFit, cut_out, places, prove, refine, warped_out
from .view import Grey, View, apply, at_full, at_level, compose, inverse

OVERVIEW_SIDE = 1600
_ANGLES = np.concatenate([np.arange(-5.0, 5.01, 0.5)])
_APART_PX = 4.0
_TRIED = 6
_REPEAT_REACH = 40


@dataclass(frozen=True)
class Touch:
    """What a search came to. `fit` None: `code` says unrelated or ambiguous; `period_px` where the texture repeats.
    `second` is the second part's view as it fits, perhaps turned."""

    fit: PairFit | None
    second: View
    code: str = ""
    period_px: float = 0.0


def overview_factor(views: list[View]) -> int:
    """By how much parts are reduced to be compared as a whole."""
    return max(1, int(np.ceil(max(max(v.width, v.height) for v in views) / OVERVIEW_SIDE)))


def touching(first: View, second: View, factor: int, may_turn: bool = True) -> Touch:
    """Looks for the one place of `second` on `first`, upright first, then turned by quarters."""
    pictures = _Pictures(first, second, factor)
    upright = [c for c in feature_candidates(*pictures.pair(second)) if _quarter(c.matrix) == 0]
    found = _proved(first, second, factor, upright)
    if not found:
        found = _proved(first, second, factor, _correlated(pictures, second))
    if found:
        return _only_one(first, second, factor, found, pictures)
    if may_turn:
        for turns in (2, 1, 3):
            turned = second.turned(turns)
            features = [c for c in feature_candidates(*pictures.pair(turned)) if _quarter(c.matrix) == 0]
            found = _proved(first, turned, factor, features)
            if found:
                return _only_one(first, turned, factor, found, pictures)
    return Touch(None, second, "unrelated")


class _Pictures:
    """Normalised overviews of two views, without what is fixed to the bed."""

    def __init__(self, first: View, second: View, factor: int) -> None:
        self.first, self.factor = first, factor
        self.plain = normalised(first.overview(factor))
        second.overview(factor)
        as_first = second.turned(first.turns - second.turns)
        self.marks = bed_marks(self.plain, normalised(as_first.overview(factor)))

    def pair(self, second: View) -> tuple[Grey, Grey]:
        theirs = normalised(second.overview(self.factor))
        ours = self.plain.copy()
        if self.marks is not None:
            ours[self.marks] = 0
            turned = np.rot90(self.marks, second.turns - self.first.turns)
            if turned.shape == theirs.shape:
                theirs[turned] = 0
        _outside(ours, self.first, self.factor)
        _outside(theirs, second, self.factor)
        return ours, theirs


def _outside(picture: Grey, view: View, factor: int) -> None:
    box = view.work
    picture[: box.y // factor] = 0
    picture[-(-box.bottom // factor) :] = 0
    picture[:, : box.x // factor] = 0
    picture[:, -(-box.right // factor) :] = 0


def _quarter(matrix: Matrix) -> int:
    return round(float(np.arctan2(matrix[1, 0], matrix[0, 0])) / (np.pi / 2)) % 4


def _correlated(pictures: _Pictures, second: View) -> Iterator[Candidate]:
    yield from list(correlation_candidates(*pictures.pair(second), _ANGLES))[:_TRIED]


def _proved(first: View, second: View, factor: int, candidates: list[Candidate] | Iterator[Candidate]) -> list[PairFit]:
    fits: list[PairFit] = []
    for candidate in candidates:
        full = at_full(candidate.matrix, factor)
        if any(_same(first, full, fit) for fit in fits):
            continue
        fit = prove(first, second, candidate.matrix, factor)
        if fit is not None and not any(_same(first, fit.matrix, other) for other in fits):
            fits.append(fit)
    return fits


def _same(first: View, matrix: Matrix, fit: PairFit) -> bool:
    middle = np.array([fit.centre])
    return bool(np.linalg.norm(apply(matrix, middle) - apply(fit.matrix, middle)) < _APART_PX * 4)


def unexplained(fit: PairFit) -> float:
    """Share of the patches' variance that the other part does not show, typical patch."""
    return 1.0 - float(np.median(fit.matches.likeness)) ** 2


def _only_one(first: View, second: View, factor: int, fits: list[PairFit], pictures: _Pictures) -> Touch:
    """Other places by correlation at the angle found; then the repeat of the texture around the best place."""
    best = min(fits, key=unexplained)
    angle = np.rad2deg(np.arctan2(best.matrix[1, 0], best.matrix[0, 0]))
    others = list(correlation_candidates(*pictures.pair(second), np.array([angle])))
    fits = fits + [
        fit
        for fit in _proved(first, second, factor, others[:_TRIED])
        if not any(_same(first, fit.matrix, known) for known in fits)
    ]
    best = min(fits, key=unexplained)
    for other in fits:
        if other is not best and _as_good(unexplained(other), unexplained(best)):
            return Touch(None, second, "ambiguous", _between(first, best, other))
    period = repeat_px(first, second, best.matrix, factor)
    if period:
        return Touch(None, second, "ambiguous", period)
    fine = refine(first, second, best, factor)
    if fine is None:
        return Touch(None, second, "unrelated")
    return Touch(fine, second)


def _as_good(other: float, best: float) -> bool:
    return other < 1.5 * best + 0.02


def _between(first: View, one: PairFit, other: PairFit) -> float:
    middle = np.array([[first.width / 2, first.height / 2]])
    return float(np.linalg.norm(apply(one.matrix, middle) - apply(other.matrix, middle)))


def repeat_px(first: View, second: View, matrix: Matrix, factor: int) -> float:
    """Full px to the nearest other place near by where the texture fits as well; 0 when there is none."""
    grid, size = places(first, second, matrix, factor, _REPEAT_REACH)
    if len(grid) < 4:
        return 0.0
    local = at_level(matrix, factor)
    surfaces = []
    for x, y in grid[np.linspace(0, len(grid) - 1, min(24, len(grid))).astype(int)]:
        patch = smoothed(cut_out(first, int(x), int(y), *size, factor))
        if patch.std() < 1e-4:
            continue
        wide = (size[0] + 2 * _REPEAT_REACH, size[1] + 2 * _REPEAT_REACH)
        other = warped_out(second, local, int(x) - _REPEAT_REACH, int(y) - _REPEAT_REACH, *wide, factor)
        surfaces.append(likeness_surface(patch, other))
    if len(surfaces) < 4:
        return 0.0
    stack = np.array(surfaces)
    mean = np.median(stack, axis=0)
    middle = _REPEAT_REACH
    here = mean[middle, middle]
    masked = _outside_main_lobe(mean, middle)
    row, column = np.unravel_index(int(np.argmax(masked)), masked.shape)
    better = stack[:, middle, middle] - stack[:, row, column]
    if _as_good(1 - masked[row, column] ** 2, 1 - here**2) and np.percentile(better, 80) < 0.1:
        return float(np.hypot(row - middle, column - middle)) * factor
    return 0.0


def _outside_main_lobe(surface: npt.NDArray[np.float32], middle: int) -> npt.NDArray[np.float32]:
    """The surface without the hill around its middle, down to the first valley along the steepest way."""
    y, x = np.mgrid[0 : surface.shape[0], 0 : surface.shape[1]]
    radius = np.hypot(y - middle, x - middle)
    rings = [float(surface[(radius >= r) & (radius < r + 1)].min()) for r in range(middle)]
    valley = next((r for r in range(1, middle - 1) if rings[r] <= rings[r + 1] and rings[r] < 0.5 * rings[0]), middle)
    return np.asarray(np.where(radius > max(valley, 2), surface, -1.0), dtype=np.float32)


def turned_back(fit: PairFit, view: View) -> PairFit:
    """The fit as seen from the part as scanned instead of the turned view."""
    return replace(fit, matrix=compose(view.to_part, fit.matrix))


def reversed_fit(fit: PairFit) -> PairFit:
    """The same overlap seen from the second part."""
    m = fit.matches
    swapped = replace(m, first=m.second, second=m.first)
    middle = apply(fit.matrix, np.array([fit.centre]))[0]
    return replace(fit, matrix=inverse(fit.matrix), matches=swapped, centre=(float(middle[0]), float(middle[1])))
