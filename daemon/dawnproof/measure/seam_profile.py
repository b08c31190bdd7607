"""The displacement along the stitch, block by block, once the stitch's column is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .seam_likelihood import Form, Hypotheses, Rows, process_of, score
from .seam_strip import BLOCK_ROWS, Strip

Blocks = npt.NDArray[np.float64]  # (blocks, shifts): log-likelihood ratios
Costs = npt.NDArray[np.float64]

NOTHING_PX = 1e6
LEAST_NOISE = 0.1  # see `process_of`
LEAST_PX = 0.5
CHANCE = 6.0  # a block must be that much likelier doubled than not
LOUDEST = 60.0  # and counts no more than this
DRIFT_COST = 3.0  # per pixel from block to block
BEGIN_COST = 8.0
MOST_PRODUCTS = 1.5e9  # rows are thinned out above this


@dataclass(frozen=True)
class Sample:
    """Displacement in the block of rows from `row`: px, None where none was found; `speaks`: how much likelier the
    block is with it than without (where none was found: with the best one; negative: likelier without)."""

    row: int
    px: float | None
    speaks: float


def profile(strip: Strip, column: int, blend_px: float, most_px: float, rows: range) -> tuple[Sample, ...]:
    """Samples every BLOCK_ROWS rows for a stitch at this column of the scan, displacements up to `most_px`."""
    return profiles(strip, (column,), blend_px, most_px, rows)[0]


def profiles(
    strip: Strip, columns: Sequence[int], blend_px: float, most_px: float, rows: range
) -> list[tuple[Sample, ...]]:
    """The same for each of some neighbouring columns."""
    shifts = np.concatenate([np.arange(LEAST_PX, min(most_px, 16.0), 0.5), np.arange(16.0, most_px + 1)])
    half = int(min(most_px + blend_px / 2 + 10, min(columns) - strip.first, strip.past - max(columns)))
    kept = strip.chunks_in(rows)
    if not kept or half < 8:
        return [()] * len(columns)
    thin = int(
        np.ceil(sum(len(strip.greys[row]) for row in kept) * (len(shifts) + 2) * (2.0 * half) ** 2 / MOST_PRODUCTS)
    )
    even = [strip.even(row)[::thin] for row in kept]
    hypotheses = Hypotheses.of(process_of(even, LEAST_NOISE), blend_px, np.concatenate([shifts, [NOTHING_PX]]), half)
    together, past = np.concatenate(even), np.cumsum([len(block) for block in even])
    step = max(BLOCK_ROWS // thin, 1)
    starts = [row + top * thin for row, block in zip(kept, even, strict=True) for top in range(0, len(block), step)]
    found = []
    for column in columns:
        every = np.split(hypotheses.log_likelihood(together, column - strip.first), past[:-1])
        ratios = np.stack([each[top : top + step].sum(axis=0) for each in every for top in range(0, len(each), step)])
        found.append(_follow(ratios[:, :-1] - np.maximum(ratios[:, -1:], 0.0), shifts, starts))
    return found


SETTLE_CHUNKS = 10
SETTLE_EVERY = 3  # rows: neighbours say much the same
NARROW_PX = (-4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 4.5)  # around a width already found
BLENDS_PX = (0.0, 6.0, 12.0, 18.0, 24.0, 30.0, 36.0, 42.0, 50.0)


def settle(
    strip: Strip, column: int, blend_px: float, px: float, rows: range, blends_px: tuple[float, ...] = BLENDS_PX
) -> tuple[int, float]:
    """The column and blend width near the given ones with which a displacement of about `px` is likeliest; those
    given where nothing speaks for it."""
    kept = strip.chunks_in(rows)
    kept = kept[:: max(len(kept) // SETTLE_CHUNKS, 1)]
    even = [strip.even(row)[::SETTLE_EVERY] for row in kept]
    process = process_of(even, LEAST_NOISE)
    half = int(px + blend_px / 2 + 12)
    reach = int(min(8, column - strip.first - half, strip.past - column - half))
    if reach < 1:
        return column, blend_px
    best, found = 0.0, (column, blend_px)
    for blend in (width for width in blends_px if abs(width - blend_px) <= 24):
        flat, *lifted = process.forms(half, blend, (0.0, px - 1.0, px, px + 1.0))
        for place in range(column - reach, column + reach + 1, 1 if blend == 0 else 2):
            at = place - strip.first
            speaks = sum(_best(block[:, at - half : at + half], flat, lifted) for block in even)
            if speaks > best:
                best, found = speaks, (place, blend)
    return found


def _best(rows: Rows, flat: Form, lifted: list[Form]) -> float:
    """What a block speaks for the likeliest displacement; nothing when it is likelier without: it may not be lifted."""
    ratios = [float((score(rows, form) - score(rows, flat)).sum()) for form in lifted]
    return max(*ratios, 0.0)


def _follow(speaks: Blocks, shifts: Costs, starts: list[int]) -> tuple[Sample, ...]:
    near = _averaged(speaks)
    states = route(np.clip(near, -LOUDEST, LOUDEST) - CHANCE, costs(shifts, DRIFT_COST, BEGIN_COST))
    samples = []
    for row, values, state in zip(starts, near, states, strict=True):
        px = _peak(values, shifts, state) if state < len(shifts) else None
        samples.append(Sample(row, px, float(values.max())))
    return tuple(samples)


def _averaged(blocks: Blocks) -> Blocks:
    """Each block with half of each neighbour."""
    padded = np.concatenate([blocks[:1], blocks, blocks[-1:]])
    return np.asarray((padded[:-2] * 0.5 + padded[1:-1] + padded[2:] * 0.5) / 2)


def costs(shifts: Costs, drift: float, begin: float) -> Costs:
    """Cost of going from one displacement to another; the last state is 'not doubled'."""
    states = len(shifts) + 1
    table = np.full((states, states), begin)
    table[:-1, :-1] = drift * np.abs(shifts[:, None] - shifts[None, :])
    table[-1, -1] = 0.0
    return table


def route(gains: Blocks, table: Costs) -> list[int]:
    """States along the path with the highest sum; the last state gains nothing."""
    full = np.concatenate([gains, np.zeros((len(gains), 1))], axis=1)
    score_so_far, origins = full[0], []
    for gain in full[1:]:
        moved = score_so_far[None, :] - table
        origin = moved.argmax(axis=1)
        origins.append(origin)
        score_so_far = moved[np.arange(len(table)), origin] + gain
    states = [int(score_so_far.argmax())]
    for origin in reversed(origins):
        states.append(int(origin[states[-1]]))
    return states[::-1]


def _peak(values: npt.NDArray[np.float64], shifts: Costs, state: int) -> float:
    """Place of the maximum between the shifts, from the parabola through three of them."""
    low, high = max(state - 2, 0), min(state + 3, len(shifts))
    state = low + int(values[low:high].argmax())
    if state in (0, len(shifts) - 1) or shifts[state + 1] - shifts[state] != shifts[state] - shifts[state - 1]:
        return float(shifts[state])
    before, here, after = (float(value) for value in values[state - 1 : state + 2])
    bend = before - 2 * here + after
    move = 0.0 if bend >= 0 else float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5))
    return float(shifts[state] + move * (shifts[state + 1] - shifts[state]))
