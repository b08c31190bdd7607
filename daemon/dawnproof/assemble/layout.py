"""One place for every part: pairs on one another, all solved together, so that a loop of four closes."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from .parts import Matrix
from .register import PairFit
from .view import View, apply, compose, inverse

Floats = npt.NDArray[np.float64]
Pairs = Mapping[tuple[int, int], PairFit]
_FLOOR_PX = 0.03  # no patch is trusted better than this
_MATTERS_PX = 0.02  # a freedom that moves no pixel further is not taken
_ROUNDS = 12


@dataclass(frozen=True)
class Layout:
    """`matrices` take each view's pixel centres to the joined image's; `rows` holds the indices of the parts row by
    row, left to right; `order` the parts from the reference outward."""

    matrices: tuple[Matrix, ...]
    reference: int
    rows: tuple[tuple[int, ...], ...]
    order: tuple[int, ...]
    width: int
    height: int
    freedom: str


def outward(count: int, pairs: Pairs, start: int) -> list[int]:
    """Parts in the order they are reached from `start`; those never reached are missing."""
    reached, queue = [start], deque([start])
    while queue:
        here = queue.popleft()
        for a, b in sorted(pairs):
            other = b if a == here else a if b == here else None
            if other is not None and other not in reached:
                reached.append(other)
                queue.append(other)
    return reached


def reference_part(count: int, pairs: Pairs) -> int:
    """The part that most others touch, the first of equals: nothing is far from it."""
    touching = [sum(i in pair for pair in pairs) for i in range(count)]
    return int(np.argmax(touching))


def lay_out(views: Sequence[View], pairs: Pairs) -> Layout:
    """All overlaps at once; every part must be reachable through `pairs`."""
    reference = reference_part(len(views), pairs)
    order = outward(len(views), pairs, reference)
    start = chained(pairs, order, len(views))
    matrices, freedom = solve(views, pairs, reference, start)
    matrices = [_settled(m) for m in matrices]
    corners = np.concatenate(
        [
            apply(m, np.array([[x, y] for x in (0.0, v.width - 1.0) for y in (0.0, v.height - 1.0)]))
            for m, v in zip(matrices, views, strict=True)
        ]
    )
    low = np.floor(corners.min(axis=0) + 1e-6)
    high = np.ceil(corners.max(axis=0) - 1e-6)
    moved = tuple(np.column_stack([m[:, :2], m[:, 2] - low]) for m in matrices)
    width, height = (high - low + 1).astype(int)
    rows = grid_rows(views, moved)
    return Layout(moved, reference, rows, tuple(order), int(width), int(height), freedom)


def chained(pairs: Pairs, order: Sequence[int], count: int) -> list[Matrix]:
    """First places: each part through one already placed."""
    places: list[Matrix] = [np.eye(2, 3)] * count
    done = [order[0]]
    for part in order[1:]:
        near = next(p for p in done if (p, part) in pairs or (part, p) in pairs)
        onto = inverse(pairs[near, part].matrix) if (near, part) in pairs else pairs[part, near].matrix
        places[part] = compose(places[near], onto)
        done.append(part)
    return places


def solve(views: Sequence[View], pairs: Pairs, reference: int, start: Sequence[Matrix]) -> tuple[list[Matrix], str]:
    """Shift only, else with turning, else with scale too: the simplest that is not significantly worse."""
    best: tuple[list[Matrix], float, str] | None = None
    for freedom, free in (("shift", 2), ("turn", 3), ("scale", 4)):
        numbers = np.array([_numbers(m, free) for m in start])
        numbers[reference] = _numbers(np.eye(2, 3), free)
        matrices, cost = _gauss_newton(pairs, numbers, reference, free)
        if best is None or (cost < best[1] and _moves(views, best[0], matrices)):
            best = matrices, cost, freedom
    assert best is not None
    return best[0], best[2]


def _moves(views: Sequence[View], before: Sequence[Matrix], after: Sequence[Matrix]) -> bool:
    """Whether any corner moves enough to matter."""
    for view, a, b in zip(views, before, after, strict=True):
        corners = np.array([[x, y] for x in (0.0, float(view.width)) for y in (0.0, float(view.height))])
        if np.abs(apply(a, corners) - apply(b, corners)).max() > _MATTERS_PX:
            return True
    return False


def _numbers(matrix: Matrix, free: int) -> Floats:
    """Shift x, y, angle, log scale; held at zero where not free."""
    angle = np.arctan2(matrix[1, 0], matrix[0, 0]) if free > 2 else 0.0
    scale = np.log(np.hypot(matrix[0, 0], matrix[1, 0])) if free > 3 else 0.0
    return np.array([matrix[0, 2], matrix[1, 2], angle, scale])


def _matrix(numbers: Floats) -> Matrix:
    shift_x, shift_y, angle, log_scale = numbers
    scale = np.exp(log_scale)
    cos, sin = scale * np.cos(angle), scale * np.sin(angle)
    return np.array([[cos, -sin, shift_x], [sin, cos, shift_y]])


def _slopes(matrix: Matrix, points: Floats, free: int) -> Floats:
    """(n, 2, free) derivative of the moved points by shift x, shift y, angle, log scale."""
    out = np.zeros((len(points), 2, 4))
    out[:, 0, 0] = out[:, 1, 1] = 1.0
    linear = points @ matrix[:, :2].T
    out[:, 0, 2], out[:, 1, 2] = -linear[:, 1], linear[:, 0]
    out[:, :, 3] = linear
    return out[:, :, :free]


def _gauss_newton(pairs: Pairs, numbers: Floats, reference: int, free: int) -> tuple[list[Matrix], float]:
    """Robust least squares over all matches; the cost is comparable between freedoms (BIC, Schwarz 1978)."""
    count = len(numbers)
    spread, cost = 1.0, np.inf
    for _ in range(_ROUNDS):
        matrices = [_matrix(n) for n in numbers]
        normal, right = np.zeros((count * free, count * free)), np.zeros(count * free)
        sizes = []
        for (a, b), fit in pairs.items():
            left, weight = _weighted(matrices[a], matrices[b], fit, spread)
            slope_a = _slopes(matrices[a], fit.matches.first, free)
            slope_b = -_slopes(matrices[b], fit.matches.second, free)
            span = (slice(a * free, (a + 1) * free), slice(b * free, (b + 1) * free))
            for i, slope_i in zip(span, (slope_a, slope_b), strict=True):
                right[i] -= np.einsum("nki,nkl,nl->i", slope_i, weight, left)
                for j, slope_j in zip(span, (slope_a, slope_b), strict=True):
                    normal[i, j] += np.einsum("nki,nkl,nlj->ij", slope_i, weight, slope_j)
            sizes.append(np.einsum("nk,nkl,nl->n", left, _trusted(fit), left))
        every = np.concatenate(sizes)
        held = slice(reference * free, (reference + 1) * free)
        normal[held, :] = normal[:, held] = 0.0
        normal[held, held], right[held] = np.eye(free), 0.0
        numbers = numbers.copy()
        numbers[:, :free] += np.linalg.solve(normal + 1e-12 * np.eye(len(normal)), right).reshape(count, free)
        spread = max(float(np.sqrt(np.median(every) / 1.386)), 0.3)
        kept = np.minimum(every, 16 * spread**2)
        cost = len(every) * 2 * np.log(kept.mean()) + (count - 1) * free * np.log(2 * len(every)) * 2
    return [_matrix(n) for n in numbers], float(cost)


def _trusted(fit: PairFit) -> Floats:
    """Information of each match with the floor added to its covariance; along a bend every match counts alike, by how
    far the bend takes it."""
    if fit.bent_px > 0:
        return np.broadcast_to(np.eye(2) / max(fit.bent_px, _FLOOR_PX) ** 2, (len(fit.matches), 2, 2))
    covariance = np.linalg.inv(fit.matches.information + 1e-6 * np.eye(2))
    return np.asarray(np.linalg.inv(covariance + _FLOOR_PX**2 * np.eye(2)))


def _weighted(a: Matrix, b: Matrix, fit: PairFit, spread: float) -> tuple[Floats, Floats]:
    left = apply(a, fit.matches.first) - apply(b, fit.matches.second)
    weight = _trusted(fit)
    size = np.sqrt(np.einsum("nk,nkl,nl->n", left, weight, left))
    return left, weight * (np.clip(1 - (size / (6 * spread)) ** 2, 1e-6, 1) ** 2)[:, None, None]


def _settled(matrix: Matrix) -> Matrix:
    """A shift within a fortieth of a pixel of whole pixels is taken as whole: then nothing is resampled."""
    whole = np.rint(matrix[:, 2])
    if np.array_equal(matrix[:, :2], np.eye(2)) and np.abs(matrix[:, 2] - whole).max() < 0.025:
        return np.column_stack([np.eye(2), whole])
    return matrix


def grid_rows(views: Sequence[View], matrices: Sequence[Matrix]) -> tuple[tuple[int, ...], ...]:
    """Rows top to bottom, each left to right, from where the middles of the parts lie."""
    middles = [
        apply(m, np.array([[(v.width - 1) / 2, (v.height - 1) / 2]]))[0] for v, m in zip(views, matrices, strict=True)
    ]
    apart = 0.35 * min(v.height for v in views)
    down = sorted(range(len(views)), key=lambda i: middles[i][1])
    rows = [[down[0]]]
    for before, part in pairwise(down):
        if middles[part][1] - middles[before][1] > apart:
            rows.append([])
        rows[-1].append(part)
    return tuple(tuple(sorted(row, key=lambda i: middles[i][0])) for row in rows)


def closure(layout: Layout, pair: tuple[int, int], fit: PairFit) -> float:
    """px by which the pair's own fit and the common solution differ in the middle of the overlap."""
    a, b = pair
    middle = np.array([fit.centre])
    own = apply(fit.matrix, middle)
    common = apply(compose(inverse(layout.matrices[b]), layout.matrices[a]), middle)
    return float(np.linalg.norm(own - common))
