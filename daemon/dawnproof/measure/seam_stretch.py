"""A stitch is sound only where each stretch of it is: a lift over a sixth of the height must not hide among calm rows.

The likelihood of displaced views (see `seam_near`) is gathered over every run of rows a sixth or a quarter of the
height long, in blocks short enough for a low scan and for displacements beyond those looked at there. A run whose
highest score is a good part of what a doubling would have shown is a suspect, and its rows are looked at once more
(`seam_second`); most suspects are chance, and are refuted there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from . import seam_near
from .seam_bare import BARE, changes
from .seam_likelihood import Floats, process_of
from .seam_search import Ground, Mark, around
from .seam_second import Second, look_again
from .seam_strip import BLOCK_ROWS, Strip

Peaks = npt.NDArray[np.float32]  # (runs, blends, shifts, columns)

SHARES = (0.15, 0.25)  # of the judged rows that make a run
STEP_PX = 0.75
BESIDE = 2  # steps to the smaller and larger displacement that a peak must surpass
SHIFTS_PX = tuple(STEP_PX * n for n in range(4, 17))  # 3 to 12 px: a fault in any usual book
TRIED_PX = (0.0, *(STEP_PX * n for n in range(4 - BESIDE, 17 + BESIDE)), seam_near.NOTHING_PX)
MANY_BLOCKS = 28  # a scan with more of them is judged by chunks of rows
MOST_CHUNKS = 32  # that are looked at
LEAST_ROWS = 32
BLEND_COUNTS = 0.5  # of a peak with a blend zone: soft passages look like one
SUSPECT = 12.0  # a run scores less wherever chance alone speaks
PROVEN = 4.0  # a run that promised this much more than was found in it is not doubled
LEAST_PROMISE = 30.0  # with less a run that is not bare could hide a doubling
MOST_DULL = 0.15  # share of the rows in such blocks that is harmless: nothing much could be seen doubled there
MOST_SUSPECTS = 4  # looked at again
SAME_PX = 4  # suspects this near each other are one


@dataclass(frozen=True)
class Stretch:
    """One run of rows: what stands out most in it within the stitch's tolerance (with no rival: its own rows decide),
    and what a doubling of 5 px would score. `bare`: nothing is to be seen there that could be doubled. `dull`: share of
    all looked at rows that are in blocks too dull to show one, and not bare."""

    rows: range
    mark: Mark
    promise: float
    bare: bool
    dull: float = 1.0


@dataclass(frozen=True)
class _Looked:
    """A strip's likelihoods (blocks, blends, hypotheses, columns) for a stitch at each of `columns`."""

    columns: npt.NDArray[np.int64]
    blends_px: tuple[float, ...]
    likely: npt.NDArray[np.float32]


def stretches(own: Sequence[Strip], ground: Ground) -> list[Stretch]:
    """Every run of rows along the stitch; empty when the strips hold too few rows."""
    blocks = _blocks(own, ground.rows)
    looks = _looks(own, blocks, ground)
    if not blocks or not looks:
        return []
    promises = _promises(own, blocks)
    bare = np.max([changes(strip, blocks, _columns(strip, ground)) for strip in own], axis=0) < BARE
    lengths = sorted({max(round(share * len(blocks)), 1) for share in SHARES})
    rows = np.array([len(block) for block in blocks])
    dull = float(rows[(promises * lengths[0] < LEAST_PROMISE) & ~bare].sum() / rows.sum())
    return [
        Stretch(
            range(blocks[first].start, blocks[first + run - 1].stop),
            mark,
            float(promises[first : first + run].sum()),
            bool(bare[first : first + run].all()),
            dull,
        )
        for run in lengths
        for first, mark in enumerate(_marks(looks, run))
    ]


def suspects(found: Sequence[Stretch]) -> list[Stretch]:
    """The runs whose highest score could be a doubling's, those nearest to their promise first, each place once."""
    each = [s for s in found if s.mark.score >= SUSPECT and s.mark.score * PROVEN > s.promise]
    kept: list[Stretch] = []
    for stretch in sorted(each, key=lambda s: s.mark.score / max(s.promise, LEAST_PROMISE), reverse=True):
        if not any(_same(stretch, other) for other in kept):
            kept.append(stretch)
    return kept[:MOST_SUSPECTS]


def speaking_most(own: Sequence[Strip], found: Sequence[Stretch]) -> tuple[Stretch, Second] | None:
    """The suspect whose own rows speak most for it, with what they say; None when they refute every one."""
    looked = [(each, seen_again(own, each)) for each in suspects(found)]
    left = [(each, second) for each, second in looked if not second.refuted]
    return max(left, key=lambda pair: (pair[1].confirmed, pair[1].speaks), default=None)


def seen_again(own: Sequence[Strip], stretch: Stretch) -> Second:
    """The second look at a stretch."""
    return look_again(around(list(own), stretch.mark.column), stretch.mark, stretch.rows)


def blind(found: Sequence[Stretch]) -> Stretch | None:
    """A stretch with something to be seen in it that would not have shown a doubling: the least promising. None where
    such rows are few."""
    silent = [each for each in found if each.promise < LEAST_PROMISE and not each.bare and each.dull >= MOST_DULL]
    return min(silent, key=lambda each: each.promise, default=None)


def _same(one: Stretch, other: Stretch) -> bool:
    near = abs(one.mark.column - other.mark.column) <= SAME_PX and abs(one.mark.px - other.mark.px) <= SAME_PX / 2
    return near and one.rows.start < other.rows.stop and other.rows.start < one.rows.stop


def _marks(looks: list[_Looked], run: int) -> list[Mark]:
    """What stands out most at the stitch, run by run."""
    here = np.concatenate([_above(look.likely, run) for look in looks], axis=-1)
    columns = np.concatenate([look.columns for look in looks])
    blends = looks[0].blends_px
    marks = []
    for peaks in here:
        blend, shift, place = np.unravel_index(int(peaks.argmax()), peaks.shape)
        px = SHIFTS_PX[int(shift)]
        marks.append(Mark(int(columns[place]), blends[int(blend)], float(peaks.max()), 0.0, px, px))
    return marks


def _above(likely: npt.NDArray[np.float32], run: int) -> Peaks:
    """Each displacement's likelihood in every run of blocks less the best of none, nothing in common and those beside
    it."""
    sums = np.concatenate([np.zeros_like(likely[:1]), np.cumsum(likely, axis=0, dtype=np.float64)])
    total = sums[run:] - sums[:-run]
    tried, shown = total[:, :, 1:-1], len(SHIFTS_PX)
    rival = np.maximum(total[:, :, :1], total[:, :, -1:])
    rival = np.maximum(rival, np.maximum(tried[:, :, :shown], tried[:, :, 2 * BESIDE :]))
    peaks = tried[:, :, BESIDE : BESIDE + shown] - rival
    peaks[:, 1:] *= BLEND_COUNTS
    return np.asarray(peaks, dtype=np.float32)


def _blocks(strips: Sequence[Strip], rows: range) -> list[range]:
    """Blocks of rows that all strips hold, from the top, evenly over the height."""
    shared = set.intersection(*[set(strip.greys) for strip in strips])
    held = [range(max(row, rows.start), min(row + len(strips[0].greys[row]), rows.stop)) for row in sorted(shared)]
    held = [part for part in held if len(part) >= LEAST_ROWS]
    if 2 * len(held) > MANY_BLOCKS:
        return held[:: max(-(-len(held) // MOST_CHUNKS), 1)]
    cut = [np.linspace(p.start, p.stop, max(round(len(p) / BLOCK_ROWS), 1) + 1).astype(int) for p in held]
    return [range(int(a), int(b)) for each in cut for a, b in pairwise(each)]


def _columns(strip: Strip, ground: Ground) -> npt.NDArray[np.int64]:
    return np.asarray([c for c in strip.columns if c in ground.columns and c in ground.stitch], dtype=np.int64)


def _looks(own: Sequence[Strip], blocks: list[range], ground: Ground) -> list[_Looked]:
    each = [(strip, _columns(strip, ground)) for strip in own]
    return [_look(strip, blocks, columns) for strip, columns in each if len(columns)] if blocks else []


def _look(strip: Strip, blocks: list[range], columns: npt.NDArray[np.int64]) -> _Looked:
    even, blends = [strip.even(rows.start, rows.stop) for rows in blocks], strip.search.blends_px
    process = process_of(even)
    forms = [process.forms(seam_near.HALF, blend, TRIED_PX) for blend in blends]
    likely = seam_near.likelihoods_under(even, columns - strip.first, forms)
    return _Looked(columns, blends, likely.astype(np.float32))


def _promises(own: Sequence[Strip], blocks: list[range]) -> Floats:
    """What a doubling of 5 px would show in each block, at the strip where it shows least."""
    every = max(len(own) // 2, 1)
    each = [
        [seam_near.promise(s.even(rows.start, rows.stop), s.search.blends_px) for rows in blocks] for s in own[::every]
    ]
    return np.asarray(np.min(np.array(each), axis=0), dtype=np.float64)
