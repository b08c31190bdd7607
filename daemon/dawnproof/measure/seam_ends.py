"""Where a doubling begins and ends: the rows between which it is above half of its largest displacement.

A sheet bends, so the displacement changes little from one step of rows to the next. Every step says how likely each
displacement is in it; along the steps they are taken together as a chain that seldom changes much (a hidden Markov
model, forwards and backwards: Baum et al. 1970), so that a step that says nothing is told by those around it, and an
end among silent rows lies in their middle.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .seam_likelihood import process_of, score
from .seam_profile import LEAST_NOISE
from .seam_strip import BLOCK_ROWS, Strip

Floats = npt.NDArray[np.float64]
Steps = npt.NDArray[np.int64]

END_BLOCKS = 5  # blocks of rows beyond those found doubled in which an end is looked for
STEP_ROWS = 4  # the place of an end is told this finely
STATES, MOST = 19, 1.2  # displacements from 0 to MOST of the largest
CHANGE = 1 / 16  # of the largest, from step to step
WEIGHT = 0.6  # rows are not quite independent of each other
LEAST_RUN = 0.25  # of what the loudest run of lifted steps speaks
BOUND = 12.0  # no step speaks louder against a displacement


def ends(strip: Strip, column: int, blend_px: float, px: float, first: int, past: int, rows: range) -> tuple[int, int]:
    """First row and one past the last of a doubling of `px` that was found, block by block, from `first` to `past`, for
    a stitch at this column, of all of it where it is lifted more than once; those given where the strip is too narrow
    there."""
    reach = END_BLOCKS * BLOCK_ROWS
    half = int(min(MOST * px + blend_px / 2 + 10, column - strip.first, strip.past - column))
    kept = strip.chunks_in(rows)
    near = [row for row in kept if row + len(strip.greys[row]) > first - reach and row < past + reach]
    if half < 8 or not near:
        return first, past
    even = [strip.even(row)[: rows.stop - row] for row in near]
    sizes = np.linspace(0.0, MOST * px, STATES)
    forms = process_of(even, LEAST_NOISE).forms(half, blend_px, sizes.tolist())
    at, starts, likely = column - strip.first, [], []
    for row, block in zip(near, even, strict=True):
        each = np.stack([score(block[:, at - half : at + half], form) for form in forms], axis=1)
        tops = range(0, len(each) - STEP_ROWS + 1, STEP_ROWS)
        starts += [row + top for top in tops]
        likely += [each[top : top + STEP_ROWS].sum(axis=0) for top in tops]
    every, tall = np.array(likely), sizes >= px / 2
    lifted = _states(every, sizes)[:, tall].sum(axis=1) >= 0.5
    speaks = np.clip(every[:, tall].max(axis=1) - every[:, 0], -BOUND, BOUND)
    return _outermost(lifted, speaks, np.array(starts), range(first, past)) or (first, past)


def _states(likely: Floats, sizes: Floats) -> Floats:
    """(steps, sizes): how probable each displacement is in each step, given what all of them say."""
    said = np.exp(np.maximum(WEIGHT * (likely - likely.max(axis=1, keepdims=True)), -BOUND))
    change = np.exp(-np.abs(sizes[:, None] - sizes[None, :]) / (CHANGE * sizes[-1] / MOST))
    change /= change.sum(axis=1, keepdims=True)
    before, after = said.copy(), np.ones_like(said)
    for step in range(1, len(said)):
        before[step] *= before[step - 1] @ change
        before[step] /= before[step].sum()
    for step in range(len(said) - 2, -1, -1):
        after[step] = change @ (after[step + 1] * said[step + 1])
        after[step] /= after[step].sum()
    both = before * after
    return np.asarray(both / both.sum(axis=1, keepdims=True))


def _outermost(lifted: npt.NDArray[np.bool_], speaks: Floats, starts: Steps, found: range) -> tuple[int, int] | None:
    """Where the first run of lifted steps begins and the last one ends, of those that reach into the rows found; what
    speaks much less than the loudest of them is chance."""
    turns = np.flatnonzero(np.diff(np.concatenate([[False], lifted, [False]])))
    every = [
        (int(starts[a]), int(starts[b - 1]) + STEP_ROWS, a, b) for a, b in zip(turns[::2], turns[1::2], strict=True)
    ]
    runs = [(first, past, float(speaks[a:b].sum())) for first, past, a, b in every]
    runs = [run for run in runs if run[0] < found.stop and run[1] > found.start]
    loudest = max((said for _, _, said in runs), default=0.0)
    runs = [run for run in runs if run[2] >= LEAST_RUN * loudest]
    return (runs[0][0], runs[-1][1]) if runs else None
