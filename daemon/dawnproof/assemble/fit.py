"""From matched points to a map: robust similarity of a pair, and how sure it is that the agreement is no chance."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import spatial, stats

from .parts import Matrix

Floats = npt.NDArray[np.float64]
_AROUND = 6
_OUTLYING = 5.0
_LEAST_TOLERANCE = 1 / 6
_TWOS = 150
_TWO_APART_PX = 16.0
_SCALE_WITHIN = 0.03


@dataclass(frozen=True)
class Matches:
    """Patches found on both parts: (n, 2) places in full pixels of each view, (n, 2, 2) information of the difference
    in px of the first, `likeness` (n,), out of `tested` patches that hold texture; `lost` (m, 2) places in the first
    where plain texture was not found again or what is fixed to the bed covers all (`covered` of them, not tested),
    `plain` (n,) where it is that plain (None: everywhere); `alike` (k, 2) places in stitch strips that show
    the same but do not say how the parts lie."""

    first: Floats
    second: Floats
    information: Floats
    likeness: Floats
    tested: int
    lost: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    plain: npt.NDArray[np.bool_] | None = None
    covered: int = 0
    alike: Floats = field(default_factory=lambda: np.zeros((0, 2)))

    def __len__(self) -> int:
        return len(self.first)

    def keep(self, chosen: npt.NDArray[np.bool_]) -> Matches:
        """Those `chosen`; the others are lost."""
        plain = np.ones(len(self), bool) if self.plain is None else self.plain
        return Matches(
            self.first[chosen],
            self.second[chosen],
            self.information[chosen],
            self.likeness[chosen],
            self.tested,
            np.concatenate([self.lost, self.first[~chosen & plain]]),
            plain[chosen],
            self.covered,
            self.alike,
        )

    @property
    def every(self) -> int:
        """All patches, of which `adrift` are so many; at least 1."""
        return max(1, self.tested + self.covered + len(self.alike))


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
    most = _near(start, matches, tolerance_px).sum()
    tried, agreeing = _by_twos(matches, tolerance_px)
    best = start if len(tried) == 0 or agreeing.max() <= most else tried[int(agreeing.argmax())]
    return _reweighted(matches, best, tolerance_px)


def _by_twos(matches: Matches, tolerance_px: float) -> tuple[list[Matrix], npt.NDArray[np.int_]]:
    """The similarities of random twos of matches, and how many matches agree with each. As numbers of the complex
    plane: second = turn first + shift."""
    first, second = (points @ np.array([1, 1j]) for points in (matches.first, matches.second))
    random = np.random.default_rng(5)
    i = random.integers(0, len(first), _TWOS)
    j = (i + random.integers(1, len(first), _TWOS)) % len(first)
    apart = np.abs(first[i] - first[j]) >= _TWO_APART_PX
    i, j = i[apart], j[apart]
    turn = (second[i] - second[j]) / (first[i] - first[j])
    allowed = np.abs(np.abs(turn) - 1) < _SCALE_WITHIN
    turn, i = turn[allowed], i[allowed]
    shift = second[i] - turn * first[i]
    left = np.abs(second[None, :] - turn[:, None] * first[None, :] - shift[:, None])
    found = [np.array([[t.real, -t.imag, s.real], [t.imag, t.real, s.imag]]) for t, s in zip(turn, shift, strict=True)]
    return found, np.asarray((left < tolerance_px).sum(axis=1))


def _near(matrix: Matrix, matches: Matches, tolerance_px: float) -> npt.NDArray[np.bool_]:
    return np.asarray(np.linalg.norm(left_over(matrix, matches), axis=1) < tolerance_px)


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


def consistent(left: Floats, matches: Matches, tolerance_px: float) -> npt.NDArray[np.bool_]:
    """Which patches move as the patches around them do, whatever smooth bending `left` (n, 2) px remains. What most
    of them agree on narrows the tolerance: dust pulls single patches by a part of a pixel."""
    count = len(matches)
    if count < 4:
        return np.zeros(count, bool)
    near = spatial.cKDTree(matches.first).query(matches.first, k=min(9, count))[1][:, 1:]
    apart = np.linalg.norm(left - np.median(left[near], axis=1), axis=1)
    usual = 1.4826 * float(np.median(apart))
    return np.asarray(apart < np.clip(_OUTLYING * usual, _LEAST_TOLERANCE * tolerance_px, tolerance_px))


def adrift(matches: Matches) -> Floats:
    """(m, 2) of the lost places that lie together: nearly all patches around them are lost too."""
    found = len(matches.first) + len(matches.alike)
    every = np.concatenate([matches.first, matches.alike, matches.lost])
    if len(every) < _AROUND + 1 or len(matches.lost) == 0:
        return np.zeros((0, 2))
    near = spatial.cKDTree(every).query(matches.lost, k=_AROUND + 1)[1][:, 1:]
    return np.asarray(matches.lost[(near >= found).sum(axis=1) >= _AROUND - 1])


def chance(agreeing: int, tested: int, tolerance_px: float, reach_px: float) -> float:
    """Log10 of the probability that so many patches agree by chance, were each found anywhere within its search
    window; the four numbers of the fit are taken off (a contrario reasoning, Desolneux, Moisan, Morel 2000)."""
    alone = min(0.9, np.pi * tolerance_px**2 / (2 * reach_px + 1) ** 2)
    return float(stats.binom.logsf(max(agreeing - 3, 0) - 1, max(tested - 2, 1), alone) / np.log(10))
