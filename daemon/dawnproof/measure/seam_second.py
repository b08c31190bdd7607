"""The second look at one suspected place: do its own rows, each judged by itself, speak as a doubling there would?

The search over all columns and displacements weighs whole blocks, where a few loud rows can pass for many; its highest
score is chance in most sound scans. Here the rows of one stretch are held against the suspected displacement at the
suspected column only, every row with a scale of its own and bounded. What they speak for it, over its best rival (none,
two sides with nothing in common, a little less, a little more), is compared with what a doubling of that size is
expected to speak (the divergence of the hypotheses, from the same rows): a true one comes near it, chance does not.
Measured on made scans of eight pictures: true doublings of 2 px and more at 0.5 to 3 of it, those of chance below 0.25
wherever more than 60 nats are expected.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from . import seam_near
from .seam_likelihood import LEAST_NOISE, Floats, Form, Process, Rows, process_of, score
from .seam_search import Mark
from .seam_strip import CHUNK_ROWS, Strip

MOST_ROWS = 1536  # chunks of rows are left out above this
BOUND = 8.0  # a row speaks no more than this either way
BESIDE_PX = 1.5
AROUND_PX = (-0.5, 0.0, 0.5)
AROUND_BLEND = (0.7, 1.0, 1.3)
NARROW_BLENDS_PX = (0.0, 5.0, 10.0)  # what may have been taken for a cut
PARTS = 12  # of the rows; a doubling may begin and end within them, but takes up half
LEAST_PARTS = 6
CHANCE = 30.0  # nats that some column, displacement and part of the rows reach by chance
CONFIRMED, CONFIRMED_SHARE = 40.0, 0.4
REFUTED_SHARE = 0.25
ABOVE_RIVAL = 1.5  # of what the same rows speak for it elsewhere; those truly doubled stood 4 times above it and more
OTHERS_EVERY = 6  # px between the other columns
LEAST_HALF = 8


@dataclass(frozen=True)
class Second:
    """`mark`: the suspect with its likeliest column, blend width and displacement; `speaks`: nats, from the rows where
    it speaks most; `expected`: what a doubling would speak in them. Both 0 where nothing could be looked at. `rival`:
    the most that the same rows speak for the same at other columns of the strip."""

    mark: Mark
    speaks: float
    expected: float
    rival: float = 0.0

    @property
    def confirmed(self) -> bool:
        return self.speaks >= max(CONFIRMED, CONFIRMED_SHARE * self.expected, ABOVE_RIVAL * self.rival)

    @property
    def refuted(self) -> bool:
        return self.speaks < max(CHANCE, REFUTED_SHARE * self.expected, ABOVE_RIVAL * self.rival)


def look_again(strip: Strip, mark: Mark, rows: range, least_noise: float = LEAST_NOISE) -> Second:
    """The suspect `mark` in these rows of the scan. `least_noise`: see `process_of`."""
    held = sorted(row for row, grey in strip.greys.items() if row < rows.stop and row + len(grey) > rows.start)
    thin = max(len(held) * CHUNK_ROWS // MOST_ROWS, 1)
    held = held[::thin]
    even = [strip.even(row) for row in held]
    cut = [e[max(rows.start - row, 0) : max(rows.stop - row, 0)] for row, e in zip(held, even, strict=True)]
    wanted = max(seam_near.HALF, mark.px + BESIDE_PX + mark.blend_px / 2 + 10)
    half = int(min(wanted, mark.column - 1 - strip.first, strip.past - mark.column - 1))
    block = np.concatenate(cut) if cut else np.zeros((0, 0), np.float32)
    if half < LEAST_HALF or len(block) < PARTS:
        return Second(mark, 0.0, 0.0)
    process = process_of(even, least_noise)
    tried = (s for width in _widths(mark.blend_px) for s in _tried(process, block, strip.first, mark, half, width))
    best = max(tried, key=lambda each: each.speaks)
    seen = replace(best, speaks=best.speaks * thin, expected=best.expected * thin)
    if seen.speaks < CHANCE:
        return seen
    return replace(seen, rival=_elsewhere(process, block, strip.first, best.mark, half) * thin)


def _elsewhere(process: Process, block: Rows, first: int, mark: Mark, half: int) -> float:
    """The most that the rows speak for the displacement at columns clear of the suspected one."""
    forms = _forms(process, half, mark.blend_px, [mark.px])
    clear = mark.px + mark.blend_px + 2 * BESIDE_PX
    every = range(first + half, first + block.shape[1] - half + 1, OTHERS_EVERY)
    others = [column - first for column in every if abs(column - mark.column) > clear]
    return max((_speaking(block, forms, mark.px, at, half)[0] for at in others), default=0.0)


def _widths(blend_px: float) -> tuple[float, ...]:
    return NARROW_BLENDS_PX if blend_px <= 0 else tuple(blend_px * share for share in AROUND_BLEND)


def _tried(process: Process, block: Rows, first: int, mark: Mark, half: int, blend_px: float) -> Iterator[Second]:
    sizes = [mark.px + step for step in AROUND_PX]
    forms = _forms(process, half, blend_px, sizes)
    for px in sizes:
        each = min(forms[px].told_from(forms[rival]) for rival in _rivals(px))
        for column in (mark.column - 1, mark.column, mark.column + 1):
            speaks, count = _speaking(block, forms, px, column - first, half)
            yield Second(replace(mark, column=column, blend_px=blend_px, px=px), speaks, count * each)


def _forms(process: Process, half: int, blend_px: float, sizes_px: list[float]) -> dict[float, Form]:
    """Those of the given displacements and of their rivals, by displacement."""
    every = sorted(_with_beside(sizes_px))
    return dict(zip(every, process.forms(half, blend_px, every), strict=True))


def _rivals(px: float) -> tuple[float, ...]:
    return (0.0, seam_near.NOTHING_PX, px - BESIDE_PX, px + BESIDE_PX)


def _speaking(block: Rows, forms: dict[float, Form], px: float, at: int, half: int) -> tuple[float, int]:
    """What the rows speak for a displacement whose right view begins at strip column `at`, and how many rows do."""
    near = block[:, at - half : at + half]
    told = score(near, forms[px])
    return _loudest_part(np.stack([np.clip(told - score(near, forms[r]), -BOUND, BOUND) for r in _rivals(px)]))


def _with_beside(sizes: list[float]) -> set[float]:
    beside = {px + step for px in sizes for step in (-BESIDE_PX, 0.0, BESIDE_PX)}
    return beside | {0.0, seam_near.NOTHING_PX}


def _loudest_part(over: Floats) -> tuple[float, int]:
    """(rivals, rows): the most that neighbouring parts of the rows speak over their best rival, and their rows."""
    ends = np.linspace(0, over.shape[1], PARTS + 1).astype(int)
    sums = np.concatenate([np.zeros((len(over), 1)), np.cumsum(over, axis=1)], axis=1)[:, ends]
    spans = [(a, b) for a in range(PARTS) for b in range(a + LEAST_PARTS, PARTS + 1)]
    speaks = [float((sums[:, b] - sums[:, a]).min()) for a, b in spans]
    best = int(np.argmax(speaks))
    a, b = spans[best]
    return speaks[best], int(ends[b] - ends[a])
