"""Smooth displacement over an overlap: cubic B-splines held together by the second differences of their weights
(P-splines, Eilers and Marx 1996), taken only when patches left out of the fit bear it out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
_CELLS = 10
_LEAST_CELL_PX = 24.0
_LEAST_PATCHES = 16
_GAIN_NEEDED = 0.8  # root mean square with over without, on patches left out
_LEAST_PX = 0.06
_STIFFNESS = (0.01, 0.1, 1.0, 10.0)
_FADING = 1e-6
_FOLDS = 4
_JUDGED = 0.8  # share of patches that judge: beyond the ends, where nothing was fitted, none is foretold well


@dataclass(frozen=True)
class Bend:
    """x, y displacement in px over a net of `weights` (rows, columns, 2), cells of `step` px from `low` (x, y); places
    beyond the net take the value of its rim."""

    low: Floats
    step: float
    weights: Floats

    def at(self, places: Floats) -> Floats:
        """(n, 2) px at (n, 2) places."""
        return np.asarray(_design(self, places, 0, 0) @ self.weights.reshape(-1, 2))

    def slopes(self, places: Floats) -> Floats:
        """(n, 2, 2) change of the x, y displacement with x and with y."""
        flat = self.weights.reshape(-1, 2)
        along = [_design(self, places, *order) @ flat / self.step for order in ((1, 0), (0, 1))]
        return np.stack(along, axis=2)


def bend_of(places: Floats, wanted: Floats, low: Floats, high: Floats) -> Bend | None:
    """The displacement through (n, 2) `wanted` px at (n, 2) `places`, on a net from `low` to `high` (x, y), carried
    on straight where there are no patches; None when it does not help patches it was not fitted to."""
    if len(places) < _LEAST_PATCHES:
        return None
    net = _net(low, high)
    plain = trimmed_size(wanted, _JUDGED)
    # neighbours share pixels and dust, so blocks of patches are left out together
    block = np.maximum(np.ptp(places, axis=0).max() / _CELLS, 1.0)
    fold = np.floor((places - places.min(axis=0)) / block).sum(axis=1).astype(int) % _FOLDS
    tried = []
    for stiffness in _STIFFNESS:
        left = [
            wanted[fold == k] - _fitted(net, places[fold != k], wanted[fold != k], stiffness).at(places[fold == k])
            for k in range(_FOLDS)
        ]
        tried.append((trimmed_size(np.concatenate(left), _JUDGED), stiffness))
    best, stiffness = min(tried)
    if best > _GAIN_NEEDED * plain or plain - best < _LEAST_PX:
        return None
    return _fitted(net, places, wanted, stiffness)


def trimmed_size(left: Floats, kept: float = 0.95) -> float:
    """Root mean square length, the worst twentieth left out: single patches of dust or lift."""
    length = np.sort(np.linalg.norm(left, axis=1))
    return float(np.sqrt((length[: max(1, int(kept * len(length)))] ** 2).mean()))


def _net(low: Floats, high: Floats) -> Bend:
    extent = np.maximum(high - low, 1.0)
    step = float(max(extent.max() / _CELLS, _LEAST_CELL_PX))
    columns, rows = np.ceil(extent / step).astype(int) + 3
    return Bend(np.asarray(low, dtype=np.float64), step, np.zeros((rows, columns, 2)))


def _spline(part: Floats, slope: int) -> Floats:
    """(n, 4) weights of the uniform cubic B-splines over a cell at `part` of it, or their slopes."""
    p, q = part, 1 - part
    if slope:
        return np.stack([-(q**2) / 2, (3 * p**2 - 4 * p) / 2, (-3 * p**2 + 2 * p + 1) / 2, p**2 / 2], axis=1)
    return np.stack([q**3, 3 * p**3 - 6 * p**2 + 4, -3 * p**3 + 3 * p**2 + 3 * p + 1, p**3], axis=1) / 6


def _design(net: Bend, places: Floats, slope_x: int, slope_y: int) -> Floats:
    rows, columns = net.weights.shape[:2]
    cells = np.array([columns - 3, rows - 3])
    at = np.clip((places - net.low) / net.step, 0, cells)
    cell = np.minimum(np.floor(at).astype(int), cells - 1)
    across, down = (_spline(at[:, i] - cell[:, i], slope) for i, slope in ((0, slope_x), (1, slope_y)))
    out = np.zeros((len(places), rows * columns))
    every = np.arange(len(places))
    for i in range(4):
        for j in range(4):
            out[every, (cell[:, 1] + i) * columns + cell[:, 0] + j] = down[:, i] * across[:, j]
    return out


def _fitted(net: Bend, places: Floats, wanted: Floats, stiffness: float) -> Bend:
    """Three rounds, patches far off weighted down."""
    rows, columns = net.weights.shape[:2]
    design = _design(net, places, 0, 0)
    bending = stiffness * _stiff(rows, columns) + _FADING * np.eye(rows * columns)
    weight = np.ones(len(places))
    for _ in range(3):
        normal = design.T @ (design * weight[:, None]) + bending
        nodes = np.linalg.solve(normal, design.T @ (wanted * weight[:, None]))
        left = np.linalg.norm(wanted - design @ nodes, axis=1)
        spread = 1.4826 * float(np.median(left)) + 0.02
        weight = np.minimum(1.0, (2 * spread / np.maximum(left, 1e-9)) ** 2)
    return Bend(net.low, net.step, np.asarray(nodes.reshape(rows, columns, 2), dtype=np.float64))


def _stiff(rows: int, columns: int) -> Floats:
    """Sum of squares of the second differences, straight and crosswise, as a matrix."""
    down, across = (np.diff(np.eye(n), n=2, axis=0) for n in (rows, columns))
    twist = [np.diff(np.eye(n), n=1, axis=0) for n in (rows, columns)]
    parts = [np.kron(down, np.eye(columns)), np.kron(np.eye(rows), across), np.kron(*twist) * np.sqrt(2)]
    return np.asarray(sum(p.T @ p for p in parts))
