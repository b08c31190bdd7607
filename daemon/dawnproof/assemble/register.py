"""One pair of parts: from a rough candidate to patches matched at full resolution, or the word that they don't fit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from .area import PATCHES, common_area, share_and_width
from .bend import Bend, bend_of
from .fit import Matches, adrift, chance, consistent, left_over, robust_similarity, similarity
from .match import match_patches
from .parts import Matrix
from .view import View, at_full

Floats = npt.NDArray[np.float64]
_FEW_PATCHES, _ROUGH_PATCHES = 64, 32
_CERTAIN_LOG10, _LIKELY_LOG10 = -7.0, -3.0
_AGREEING_SHARE = 0.4
_CONSISTENT_PX = 1.5
_BENT_PX = 8.0  # a sheet that lay differently may move patches so far off the similarity
_BENT_REACH = 6
_FIRST_BENT_REACH = 10  # what a first bend, drawn from where patches were found, leaves where none were
_BENT_ROUNDS = 4


@dataclass(frozen=True)
class PairFit:
    """Two views laid on one another: `matrix` takes full pixel centres of the first to the second's."""

    matrix: Matrix
    matches: Matches
    share: float
    across_px: float  # extent of the overlap where it is narrow
    centre: tuple[float, float]  # of the overlap, in the first view
    chance_log10: float
    bent_px: float = 0.0  # root mean square of what the matches show beside `matrix`, where that is a bend

    def onto(self, match: int) -> Matrix:
        """The map of the pair moved so that this one match falls exactly."""
        linear = self.matrix[:, :2]
        return np.column_stack([linear, self.matches.second[match] - linear @ self.matches.first[match]])

    @property
    def adrift_share(self) -> float:
        """Share of the patches whose texture is plain but not found again, nor that of the patches around them."""
        return len(adrift(self.matches)) / self.matches.every

    @property
    def rotation_deg(self) -> float:
        """How far the second was turned against the first, clockwise on screen positive."""
        return -float(np.rad2deg(np.arctan2(self.matrix[1, 0], self.matrix[0, 0])))

    @property
    def scale_percent(self) -> float:
        """How much larger the second shows the work than the first."""
        return 100 * (float(np.hypot(self.matrix[0, 0], self.matrix[1, 0])) - 1)


def levels_from(factor: int) -> Iterator[int]:
    """From the overview's factor down to 1, each step by 4 or less."""
    while factor > 1:
        yield factor
        factor = max(1, factor // 4) if factor > 4 else 1
    yield 1


def prove(first: View, second: View, rough: Matrix, factor: int) -> PairFit | None:
    """A candidate (in overview pixels) refined at overview level and held against chance; None when it fails."""
    return _refined(first, second, at_full(rough, factor), factor, reach=8, patches=_FEW_PATCHES)


def refine(first: View, second: View, fit: PairFit, factor: int) -> PairFit | None:
    """Through the levels down to full resolution, there along whatever bend the patches show."""
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
    assert found is not None
    return _with_strips(first, second, _along_bend(first, second, found))


def _refined(first: View, second: View, matrix: Matrix, level: int, reach: int, patches: int) -> PairFit | None:
    """Roughly by a few patches first, which is all that most wrong candidates deserve, then finely."""
    for fine, wanted, sure in ((False, min(patches, _ROUGH_PATCHES), _LIKELY_LOG10), (True, patches, _CERTAIN_LOG10)):
        matches = match_patches(first, second, matrix, level, reach, wanted, fine)
        matrix, inside = robust_similarity(matches, matrix, _BENT_PX * level)
        inside &= consistent(left_over(matrix, matches), matches, _CONSISTENT_PX * level)
        if inside.sum() < 5:
            return None
        certain = chance(int(inside.sum()), matches.tested, _CONSISTENT_PX, reach)
        if certain > sure or inside.sum() < _AGREEING_SHARE * matches.tested:
            return None
        left = np.linalg.norm(left_over(matrix, matches)[inside], axis=1)
        reach = max(6, int(np.ceil(np.percentile(left, 95) / level)) + 3)
    return _fitted(first, second, matrix, matches.keep(inside), certain)


def _fitted(first: View, second: View, matrix: Matrix, matches: Matches, certain: float) -> PairFit | None:
    polygon = common_area(first, second, matrix)
    if len(polygon) < 3:
        return None
    share, across = share_and_width(first, second, matrix)
    x, y = polygon.mean(axis=0)
    return PairFit(matrix, matches, share, across, (float(x), float(y)), certain)


def bend_between(first: View, second: View, fit: PairFit) -> Bend | None:
    """What the patches show beside the similarity, in px of the second over places of the first; None when they bear
    out no bend."""
    polygon = common_area(first, second, fit.matrix)
    left = left_over(fit.matrix, fit.matches)
    return bend_of(fit.matches.first, left, polygon.min(axis=0), polygon.max(axis=0))


def _along_bend(first: View, second: View, fit: PairFit) -> PairFit:
    """A bend carries patches out of reach of the similarity: they are looked for again along the bend, which grows
    until no more are found. Then all of them say how the parts lie, not only those that lie alike."""
    for turn in range(_BENT_ROUNDS):
        bend = bend_between(first, second, fit)
        if bend is None:
            return fit
        reach = _BENT_REACH if turn else _FIRST_BENT_REACH
        matches = match_patches(first, second, fit.matrix, 1, reach, PATCHES, bend=bend)
        left = left_over(fit.matrix, matches) - bend.at(matches.first)
        inside = consistent(left, matches, _CONSISTENT_PX)
        grown = inside.sum() > len(fit.matches)
        kept = matches.keep(inside) if inside.sum() >= len(fit.matches) else fit.matches
        matrix = similarity(kept.first, kept.second, np.ones(len(kept)))
        size = float(np.sqrt((left_over(matrix, kept) ** 2).sum(axis=1).mean()))
        fit = replace(fit, matrix=matrix, matches=kept, bent_px=size)
        if not grown:
            return fit
    return fit


def _with_strips(first: View, second: View, fit: PairFit) -> PairFit:
    """What the stitch strips show is looked at once the parts lie and never moves them. A strip may show the work a
    little aside, as a whole: that is its stitch's affair. Where it does not show it at all, it is lost."""
    bend = bend_between(first, second, fit)
    seen = match_patches(first, second, fit.matrix, 1, _BENT_REACH, PATCHES, bend=bend, in_strips=True)
    if seen.tested + seen.covered == 0:
        return fit
    tried, own = seen.tested + seen.covered, fit.matches
    seen = seen.keep(consistent(left_over(fit.matrix, seen), seen, _CONSISTENT_PX))
    lost, covered = np.concatenate([own.lost, seen.lost]), own.covered + tried - len(seen)
    return replace(fit, matches=replace(own, lost=lost, covered=covered, alike=seen.first))
