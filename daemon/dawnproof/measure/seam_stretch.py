"""A stitch is sound only where each stretch of it is: a lift over a sixth of the height must not hide among calm rows.

The likelihood of displaced views (see `seam_near`) is gathered over every run of rows a sixth or a quarter of the
height long, in blocks short enough for a low scan and for displacements beyond those looked at there. Each run is held
against the same runs of the columns without a stitch, and against what it would have shown were it doubled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from . import seam_near
from .seam_likelihood import Floats, Rows, even_rows, process_of
from .seam_search import CONTROL_STEP, Ground, Mark
from .seam_strip import BLOCK_ROWS, Strip

Peaks = npt.NDArray[np.float32]  # (runs, blends, shifts, columns)

SHARES = (0.15, 0.25)  # of the judged rows that make a run
STEP_PX = 0.75
BESIDE = 2  # steps to the smaller and larger displacement that a peak must surpass
SHIFTS_PX = tuple(STEP_PX * n for n in range(4, 17))  # 3 to 12 px: a fault in any usual book
TRIED_PX = (0.0, *(STEP_PX * n for n in range(4 - BESIDE, 17 + BESIDE)), seam_near.NOTHING_PX)
MANY_BLOCKS = 28  # a scan with more of them is judged by chunks of rows
LEAST_ROWS = 32
BLEND_COUNTS = 0.5  # of a peak with a blend zone: soft passages look like one
BARE = 0.01  # of full scale: the change over PROMISED_PX that most columns stay below where nothing is to be seen
BARE_SHARE = 95.0


# scores of a run that chance does not reach on an undoubled stitch, and how far above the scan's own columns
NOTED, ABOVE_RIVAL = 16.0, 1.6
CLEAR, CLEAR_ABOVE_RIVAL = 30.0, 2.0
PROVEN = 4.0  # a run that promised this much more than was found in it is not doubled
LEAST_PROMISE = 30.0  # with less a run that is not bare could hide a doubling


@dataclass(frozen=True)
class Stretch:
    """One run of rows: what stands out most in it within the stitch's tolerance, with the highest score of the columns
    without a stitch in any run, and what a doubling of 5 px would score. `bare`: nothing is to be seen there that could
    be doubled."""

    rows: range
    mark: Mark
    promise: float
    bare: bool


@dataclass(frozen=True)
class _Looked:
    """A strip's likelihoods (blocks, blends, hypotheses, columns) for a stitch at each of `columns`."""

    columns: npt.NDArray[np.int64]
    blends_px: tuple[float, ...]
    likely: npt.NDArray[np.float32]


def stretches(own: Sequence[Strip], controls: Sequence[Strip], ground: Ground) -> list[Stretch]:
    """Every run of rows along the stitch; empty when the strips hold too few rows."""
    blocks = _blocks([*own, *controls], ground.rows)
    at_seam = _looks(own, blocks, ground, ground.stitch, 1)
    if not blocks or not at_seam:
        return []
    alike = own[0] is controls[0]
    elsewhere = at_seam if alike else _looks(controls, blocks, ground, None, CONTROL_STEP)
    promises = _promises(own, blocks)
    changes = np.max([_changes(strip, blocks, _columns(strip, ground, ground.stitch)) for strip in own], axis=0)
    lengths = {max(round(share * len(blocks)), 1) for share in SHARES}
    return [
        Stretch(
            range(blocks[first].start, blocks[first + run - 1].stop),
            mark,
            float(promises[first : first + run].sum()),
            float(changes[first : first + run].max()) < BARE,
        )
        for run in sorted(lengths)
        for first, mark in enumerate(_marks(at_seam, elsewhere, run, alike))
    ]


def speaking_most(found: Sequence[Stretch]) -> Stretch | None:
    """The stretch that speaks most for a doubling, of those that stand out from the columns without a stitch and show a
    good part of what a doubling would."""
    loud = [each for each in found if _speaks(each, NOTED, ABOVE_RIVAL)]
    return max(loud, key=lambda each: each.mark.score / max(each.mark.rival, NOTED), default=None)


def stands_out(stretch: Stretch) -> bool:
    """Whether it speaks so clearly that a doubling is reported there, to be looked at."""
    return _speaks(stretch, CLEAR, CLEAR_ABOVE_RIVAL)


def blind(found: Sequence[Stretch]) -> Stretch | None:
    """A stretch with something to be seen in it that would not have shown a doubling: the least promising."""
    silent = [each for each in found if each.promise < LEAST_PROMISE and not each.bare]
    return min(silent, key=lambda each: each.promise, default=None)


def _speaks(stretch: Stretch, least: float, above_rival: float) -> bool:
    mark = stretch.mark
    return mark.score >= max(least, above_rival * mark.rival) and mark.score * PROVEN > stretch.promise


def _marks(at_seam: list[_Looked], elsewhere: list[_Looked], run: int, alike: bool) -> list[Mark]:
    """What stands out most at the stitch, run by run."""
    here = np.concatenate([_above(look.likely, run) for look in at_seam], axis=-1)
    columns = np.concatenate([look.columns for look in at_seam])
    others = np.concatenate([columns[:0], *(look.columns for look in elsewhere)])
    highest = np.concatenate([np.zeros(0, np.float32), *(_above(e.likely, run).max(axis=(0, 1, 2)) for e in elsewhere)])
    blends = at_seam[0].blends_px
    marks = []
    for peaks in here:
        blend, shift, place = np.unravel_index(int(peaks.argmax()), peaks.shape)
        away = np.abs(others - columns[place]) > 2 * seam_near.HALF if alike else np.ones(len(others), bool)
        rival = max(float(highest[away].max()), 0.0) if away.any() else 0.0
        px = SHIFTS_PX[int(shift)]
        marks.append(Mark(int(columns[place]), blends[int(blend)], float(peaks.max()), rival, px, px))
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


def _blocks(strips: list[Strip], rows: range) -> list[range]:
    """Blocks of rows that all strips hold, from the top."""
    shared = set.intersection(*[set(strip.greys) for strip in strips])
    held = [range(max(row, rows.start), min(row + len(strips[0].greys[row]), rows.stop)) for row in sorted(shared)]
    held = [part for part in held if len(part) >= LEAST_ROWS]
    if 2 * len(held) > MANY_BLOCKS:
        return held
    cut = [np.linspace(p.start, p.stop, max(round(len(p) / BLOCK_ROWS), 1) + 1).astype(int) for p in held]
    return [range(int(a), int(b)) for each in cut for a, b in pairwise(each)]


def _grey(strip: Strip, rows: range) -> Rows:
    row = max(start for start in strip.greys if start <= rows.start)
    grey = strip.greys[row][rows.start - row : rows.stop - row]
    return np.asarray(grey, dtype=np.float32) / np.float32(np.iinfo(grey.dtype).max)


def _columns(strip: Strip, ground: Ground, stitch: range | None) -> npt.NDArray[np.int64]:
    inside = [c for c in strip.columns if c in ground.columns and (stitch is None or c in stitch)]
    return np.asarray(inside, dtype=np.int64)


def _looks(
    strips: Sequence[Strip], blocks: list[range], ground: Ground, stitch: range | None, step: int
) -> list[_Looked]:
    each = [(strip, _columns(strip, ground, stitch)[::step]) for strip in strips]
    return [_look(strip, blocks, columns) for strip, columns in each if len(columns)] if blocks else []


def _look(strip: Strip, blocks: list[range], columns: npt.NDArray[np.int64]) -> _Looked:
    even, blends = [even_rows(_grey(strip, rows)) for rows in blocks], strip.search.blends_px
    process = process_of(even)
    forms = [[process.form(seam_near.HALF, blend, shift) for shift in TRIED_PX] for blend in blends]
    likely = seam_near.likelihoods_under(even, columns - strip.first, forms)
    return _Looked(columns, blends, likely.astype(np.float32))


def _promises(own: Sequence[Strip], blocks: list[range]) -> Floats:
    """What a doubling of 5 px would show in each block, at the strip where it shows least."""
    every = max(len(own) // 2, 1)
    each = [[seam_near.promise(_grey(s, rows), s.search.blends_px) for rows in blocks] for s in own[::every]]
    return np.asarray(np.min(np.array(each), axis=0), dtype=np.float64)


def _changes(strip: Strip, blocks: list[range], columns: npt.NDArray[np.int64]) -> Floats:
    """How much the picture changes over PROMISED_PX in each block, where it changes most."""
    if not len(columns):
        return np.zeros(len(blocks))
    first, past, step = int(columns[0]) - strip.first, int(columns[-1]) + 1 - strip.first, int(seam_near.PROMISED_PX)
    calm = [cv2.GaussianBlur(_grey(strip, rows), (0, 0), 1.0) for rows in blocks]
    steps = [np.abs(grey[:, first + step : past] - grey[:, first : past - step]) for grey in calm]
    return np.array([np.percentile(each, BARE_SHARE) if each.size else 0.0 for each in steps])
