"""The displacement along the stitch, block by block, once the stitch's column is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .seam_path import BEGIN_COST, COMMON, DRIFT_COST, LOUDEST

Blocks = npt.NDArray[np.float32]  # (blocks, lags), in deviations from chance
Costs = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Step:
    """Displacement of one block, px, None where nothing stands out, and the deviations that speak for it."""

    px: float | None
    strength: float


def follow(blocks: Blocks, lags_px: tuple[float, ...]) -> list[Step]:
    """The likeliest displacement in each block of rows.

    Neighbouring blocks are averaged first; the place between two lags is told from the three values at the peak.
    """
    lags = np.asarray(lags_px)
    near = _averaged(blocks)
    steps = []
    for row, state in zip(near, _route(near, _costs(lags)), strict=True):
        here = state < len(lags)
        steps.append(Step(_peak(row, lags, state) if here else None, float(row[state] if here else row.max())))
    return steps


def _averaged(blocks: Blocks) -> Blocks:
    """Each block with half of each neighbour, scaled so that chance keeps a deviation of 1."""
    padded = np.concatenate([blocks[:1], blocks, blocks[-1:]])
    return np.asarray((padded[:-2] * 0.5 + padded[1:-1] + padded[2:] * 0.5) / np.sqrt(1.5), dtype=np.float32)


def _costs(lags: Costs) -> Costs:
    """Cost of going from one state to another; the last state is 'not doubled'."""
    states = len(lags) + 1
    costs = np.full((states, states), BEGIN_COST)
    costs[:-1, :-1] = DRIFT_COST * np.abs(lags[:, None] - lags[None, :])
    costs[-1, -1] = 0.0
    return costs


def _route(near: Blocks, costs: Costs) -> list[int]:
    """States along the path with the highest sum."""
    gains = np.zeros((len(near), len(costs)))
    gains[:, :-1] = np.minimum(near, LOUDEST) - COMMON
    score, origins = gains[0], []
    for gain in gains[1:]:
        moved = score[None, :] - costs
        origin = moved.argmax(axis=1)
        origins.append(origin)
        score = moved[np.arange(len(costs)), origin] + gain
    route = [int(score.argmax())]
    for origin in reversed(origins):
        route.append(int(origin[route[-1]]))
    return route[::-1]


def _peak(row: npt.NDArray[np.float32], lags: Costs, state: int) -> float:
    if state in (0, len(lags) - 1) or lags[state + 1] - lags[state] != lags[state] - lags[state - 1]:
        return float(lags[state])
    before, here, after = (float(value) for value in row[state - 1 : state + 2])
    bend = before - 2 * here + after
    move = 0.0 if bend >= 0 else float(np.clip(0.5 * (before - after) / bend, -0.6, 0.6))
    return float(lags[state] + move * (lags[state + 1] - lags[state]))
