"""Whether two parts touch, and how: every candidate is proved, and a place that is not the only one is no place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from .bed import hide_streaks
from .coarse import (
    Candidate,
    Features,
    bed_marks,
    correlation_candidates,
    feature_candidates,
    features,
    moved_along,
    normalised,
    with_rims,
)
from .parts import Matrix
from .register import PairFit, prove, refine
from .relit import turns_of_light
from .repeat import repeat_of
from .view import Grey, View, apply, at_full, at_level, inverse

OVERVIEW_SIDE = 1600
_ANGLES = np.concatenate([np.arange(-5.0, 5.01, 0.5)])
_APART_PX = 4.0
_TRIED = 6
_COARSER = 4
_COARSE_ONLY = "coarse"
LIT_OTHERWISE = "lit"
_REPEATING = 0.15  # share left unexplained by the texture itself nearby: below it the texture is a repeat
_SELF_ALIKE = 0.35  # above it, it is none, however badly the best place fits


@dataclass(frozen=True)
class Touch:
    """What a search came to. `fit` None: `code` says unrelated or ambiguous; `period_px` where the texture repeats.
    `second` is the second part's view as it fits, perhaps turned. `code` coarse: only the coarse drawing says so, which
    may tell why a part does not fit but never that it does; lit: `second` as turned shows the relief of the first under
    other light."""

    fit: PairFit | None
    second: View
    code: str = ""
    period_px: float = 0.0


def overview_factor(views: list[View]) -> int:
    """By how much parts are reduced to be compared as a whole."""
    return max(1, int(np.ceil(max(max(v.width, v.height) for v in views) / OVERVIEW_SIDE)))


def touching(first: View, second: View, factor: int, may_turn: bool = True, quick: bool = False) -> Touch:
    """Looks for the one place of `second` on `first`, upright first, then turned by quarters; `quick` only by what
    features show at once."""
    pictures = _Pictures(first, second, factor)
    found = _proved(pictures, second, _featured(pictures, second))
    if not found and quick:
        return Touch(None, second, "unrelated")
    if not found:
        found = _proved(pictures, second, _correlated(pictures, second))
    if found:
        return _only_one(first, second, factor, found, pictures)
    if factor > 1:  # grain too fine for the overview may still tell the place
        finer = touching(first, second, max(1, factor // 2), may_turn=False, quick=True)
        if finer.fit is not None:
            return finer
    if may_turn:
        touch = _touching_turned(first, second, factor, pictures)
        if touch is not None:
            return touch
    return _lost(first, second, factor)


def touching_at(first: View, second: View, onto: Matrix, factor: int) -> PairFit | None:
    """The fit of two views where others say that the second lies (full pixels of the first to its own); None where they
    do not show the same there."""
    pictures = _Pictures(first, second, factor)
    found = _proved(pictures, second, [Candidate(at_level(onto, factor), 0.0)])
    return refine(first, second, found[0], factor) if found else None


def _touching_turned(first: View, second: View, factor: int, pictures: _Pictures) -> Touch | None:
    """The second part turned by quarters. Its relief may be lit from another side, so that only the relief itself, lit
    anew, or the coarse drawing tells the place."""
    lit = turns_of_light(*pictures.pair(second))
    if lit:
        return Touch(None, second.turned(lit), LIT_OTHERWISE)
    for turns in (2, 1, 3):
        turned = second.turned(turns)
        found = _proved(pictures, turned, _featured(pictures, turned))
        if found:
            return _only_one(first, turned, factor, found, pictures)
    coarse = _COARSER * factor
    coarse_pictures = _Pictures(first, second, coarse)
    for turns in (2, 1, 3):
        turned = second.turned(turns)
        candidates = [*_featured(coarse_pictures, turned), *_correlated(coarse_pictures, turned)]
        found = _proved(coarse_pictures, turned, candidates)
        if found:
            return Touch(min(found, key=unexplained), turned, _COARSE_ONLY)
    return None


def _featured(pictures: _Pictures, second: View) -> list[Candidate]:
    return [c for c in feature_candidates(*pictures.features(second)) if _quarter(c.matrix) == 0]


def _lost(first: View, second: View, factor: int) -> Touch:
    """No place found; a texture that repeats itself all over is the reason to name where it is one."""
    for view in (first, second):
        period, left = repeat_of(view, view, np.eye(2, 3), factor)
        if left < _REPEATING:
            return Touch(None, second, "ambiguous", period)
    return Touch(None, second, "unrelated")


class _Pictures:
    """Normalised overviews of two views, without what is fixed to the bed."""

    def __init__(self, first: View, second: View, factor: int) -> None:
        self.first, self.second, self.factor = first, second, factor
        second.overview(factor)
        as_first = second if second.turns == first.turns else second.turned(first.turns - second.turns)
        found = bed_marks(self._plain(first), self._plain(as_first))
        self.marks = None if found is None else with_rims(found)
        self._cores = found
        hide_streaks(first, second)
        first.hidden = second.hidden = None
        if self.marks is not None:
            first.hidden = factor, self.marks
            second.hidden = factor, np.rot90(self.marks, second.turns - first.turns)

    def show_what_moved(self, second: View, onto: Matrix) -> None:
        """Marks that move with the work where it lies as `onto` has it (between pixels of the pictures) are the work's
        own and are compared like everything else."""
        if self._cores is None:
            return
        ours, theirs = self._plain(self.first), self._plain(second)
        cores = np.rot90(self._cores, second.turns - self.first.turns)
        for view, one, other, way, marks in (
            (self.first, ours, theirs, onto, self._cores),
            (second, theirs, ours, inverse(onto), cores),
        ):
            view.hidden = self.factor, with_rims(marks & ~moved_along(one, other, way, marks))

    def _plain(self, view: View) -> Grey:
        """The work alone, normalised."""

        def made() -> Grey:
            picture = normalised(view.overview(self.factor))
            _outside(picture, view, self.factor)
            return picture

        return np.asarray(view.remembered(("normalised", self.factor), made))

    def _marks_on(self, view: View) -> npt.NDArray[np.bool_] | None:
        if self.marks is None:
            return None
        turned = np.rot90(self.marks, view.turns - self.first.turns)
        return turned if turned.shape == self._plain(view).shape else None

    def pair(self, second: View) -> tuple[Grey, Grey]:
        """Both pictures, 0 on the marks."""
        found = []
        for view in (self.first, second):
            picture, marks = self._plain(view), self._marks_on(view)
            found.append(picture if marks is None else np.where(marks, np.float32(0), picture))
        return found[0], found[1]

    def features(self, second: View) -> tuple[Features, Features]:
        """Features of both, none on the marks."""
        found = []
        for view in (self.first, second):
            made = self._features(view)
            marks = self._marks_on(view)
            found.append(made if marks is None else made.outside(marks))
        return found[0], found[1]

    def _features(self, view: View) -> Features:
        """Looked for once; a turned view has those of the view it was turned from, turned."""
        of = self.second if view.part is self.second.part else view
        made: Features = of.remembered(("features", self.factor), partial(features, self._plain(of)))
        return made if of is view else made.turned(view.turns - of.turns, *self._plain(of).shape)


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


def _proved(pictures: _Pictures, second: View, candidates: list[Candidate] | Iterator[Candidate]) -> list[PairFit]:
    first, factor = pictures.first, pictures.factor
    fits: list[PairFit] = []
    for candidate in candidates:
        full = at_full(candidate.matrix, factor)
        if any(_same(first, full, fit) for fit in fits):
            continue
        pictures.show_what_moved(second, candidate.matrix)
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
        for fit in _proved(pictures, second, others[:_TRIED])
        if not any(_same(first, fit.matrix, known) for known in fits)
    ]
    best = min(fits, key=unexplained)
    for other in fits:
        if other is not best and _as_good(unexplained(other), unexplained(best)):
            return Touch(None, second, "ambiguous", _between(first, best, other))
    period, left = repeat_of(first, second, best.matrix, factor)
    if left < _SELF_ALIKE and _as_good(left, unexplained(best)):
        return Touch(None, second, "ambiguous", period)
    pictures.show_what_moved(second, at_level(best.matrix, factor))
    fine = refine(first, second, best, factor)
    if fine is None:
        return Touch(None, second, "unrelated")
    return Touch(fine, second)


def _as_good(other: float, best: float) -> bool:
    return other < 1.5 * best + 0.02


def _between(first: View, one: PairFit, other: PairFit) -> float:
    middle = np.array([[first.width / 2, first.height / 2]])
    return float(np.linalg.norm(apply(one.matrix, middle) - apply(other.matrix, middle)))
