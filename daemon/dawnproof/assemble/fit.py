"""From matched points to a map: robust similarity of a pair, and how sure it is that the agreement is no chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import spatial, stats

from .parts import Matrix

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Matches:
    """Patches found on both parts: (n, 2) places in full pixels of each view, (n, 2, 2) information of the difference
    in px of the first, `likeness` (n,), out of `tested` patches that hold texture."""

    first: Floats
    second: Floats
    information: Floats
    likeness: Floats
    tested: int

    def __len__(self) -> int:
        return len(self.first)

    def keep(self, chosen: npt.NDArray[np.bool_]) -> Matches:
        return Matches(
            self.first[chosen], self.second[chosen], self.information[chosen], self.likeness[chosen], self.tested
        )


def similarity(first: Floats, second: Floats, weight: Floats) -> Matrix:
    """The similarity that takes `first` to `second`, weighted least squares (linear in a, b, tx, ty)."""
    total = weight.sum()
    centre_a = (first * weight[:, None]).sum(axis=0) / total
    centre_b = (second * weight[:, None]).sum(axis=0) / total
    p, q = first - centre_a, second - centre_b
    power = (weight * (p**2).sum(axis=1)).sum()
    if power < 1e-9:
        linear = np.eye(2)
    else:
        a = (weight * (p * q).sum(axis=1)).sum() / power
        b = (weight * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])).sum() / power
        linear = np.array([[a, -b], [b, a]])
    return np.column_stack([linear, centre_b - linear @ centre_a])


def left_over(matrix: Matrix, matches: Matches) -> Floats:
    """(n, 2) what the map leaves between the parts, in px."""
    return np.asarray(matches.second - (matches.first @ matrix[:, :2].T + matrix[:, 2]))


def robust_similarity(matches: Matches, start: Matrix, tolerance_px: float) -> tuple[Matrix, npt.NDArray[np.bool_]]:
    """The similarity most patches agree on within `tolerance_px`, and which do. Random pairs first (Fischler and
    Bolles 1981, fixed seed), then reweighted least squares with a scale that shrinks to what the patches show."""
    count = len(matches)
    if count < 3:
        return start, np.zeros(count, bool)
    best, most = start, _near(start, matches, tolerance_px).sum()
    random = np.random.default_rng(5)
    for _ in range(150):
        i, j = random.choice(count, 2, replace=False)
        if np.linalg.norm(matches.first[i] - matches.first[j]) < 16:
            continue
        tried = similarity(matches.first[[i, j]], matches.second[[i, j]], np.ones(2))
        agreeing = _near(tried, matches, tolerance_px).sum()
        if agreeing > most and _allowed(tried):
            best, most = tried, agreeing
    return _reweighted(matches, best, tolerance_px)


def _near(matrix: Matrix, matches: Matches, tolerance_px: float) -> npt.NDArray[np.bool_]:
    return np.asarray(np.linalg.norm(left_over(matrix, matches), axis=1) < tolerance_px)


def _allowed(matrix: Matrix) -> bool:
    scale = float(np.hypot(matrix[0, 0], matrix[1, 0]))
    return 0.97 < scale < 1.03


def _reweighted(matches: Matches, matrix: Matrix, tolerance_px: float) -> tuple[Matrix, npt.NDArray[np.bool_]]:
    inside = _near(matrix, matches, tolerance_px)
    for _ in range(8):
        if inside.sum() < 3:
            return matrix, inside
        left = np.linalg.norm(left_over(matrix, matches), axis=1)
        scale = float(np.clip(1.4826 * np.median(left[inside]), 0.03, tolerance_px / 2.5))
        precision = np.minimum(np.trace(matches.information, axis1=1, axis2=2) / 2, 1 / 0.02**2)
        weight = precision / (1 + precision * scale**2) * np.clip(1 - (left / (4 * scale + 0.1)) ** 2, 0, None) ** 2
        weight = np.where(inside, weight, 0.0)
        if (weight > 0).sum() < 3:
            return matrix, inside
        matrix = similarity(matches.first, matches.second, weight)
        inside = _near(matrix, matches, tolerance_px)
    return matrix, inside


def consistent(matrix: Matrix, matches: Matches, tolerance_px: float) -> npt.NDArray[np.bool_]:
    """Which patches move as the patches around them do, whatever smooth bending `matrix` leaves between the parts."""
    count = len(matches)
    if count < 4:
        return np.zeros(count, bool)
    left = left_over(matrix, matches)
    near = spatial.cKDTree(matches.first).query(matches.first, k=min(9, count))[1][:, 1:]
    around = np.median(left[near], axis=1)
    return np.asarray(np.linalg.norm(left - around, axis=1) < tolerance_px)


def chance(agreeing: int, tested: int, tolerance_px: float, reach_px: float) -> float:
    """Log10 of the probability that so many patches agree by chance, were each found anywhere within its search
    window; the four numbers of the fit are taken off (a contrario reasoning, Desolneux, Moisan, Morel 2000)."""
    alone = min(0.9, np.pi * tolerance_px**2 / (2 * reach_px + 1) ** 2)
    return float(stats.binom.logsf(max(agreeing - 3, 0) - 1, max(tested - 2, 1), alone) / np.log(10))
