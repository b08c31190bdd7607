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

Peaks = npt.NDArray[np.float32]

SHARES = (0.15, 0.25)  # of the judged rows that make a run
SHORT_SHARE = 0.1  # a run that lies within a lift of a sixth, wherever that begins
SHORT_ROWS = 250  # in fewer rows something of the picture itself may look doubled
STEP_PX = 0.75
BESIDE = 2  # steps to the smaller and larger displacement that a peak must surpass
WIDE_PX = 1.0  # from step to step above FINE_UP_TO
FINE_STEPS, WIDE_STEPS = 16, 18
SHIFTS_PX = (  # 3 to 30 px: a fault in any usual book
    *(STEP_PX * n for n in range(4, FINE_STEPS + 1)),
    *(STEP_PX * FINE_STEPS + WIDE_PX * n for n in range(1, WIDE_STEPS + 1)),
)
_BELOW_PX, _ABOVE_PX = (STEP_PX * 2, STEP_PX * 3), (SHIFTS_PX[-1] + WIDE_PX, SHIFTS_PX[-1] + 2 * WIDE_PX)
TRIED_PX = (0.0, *_BELOW_PX, *SHIFTS_PX, *_ABOVE_PX, seam_near.NOTHING_PX)
LEAST_NOISE = 0.3  # see `process_of`
ABOVE_RIVAL = 1.5  # of the highest score elsewhere in the same rows
CLEAR, CLEAR_AGAIN = 2.0, 3.0  # times as much as elsewhere, in the first look and in the second
# of what they promise, the two looks together and the second by itself, and nats in the second, from which both tell a
# lift: of 120 flat scans none came so far, and of 100 partial lifts three that the second look alone leaves open did
AGREED_SHARE, AGREED_SHARE_AGAIN, AGREED_AGAIN = 0.75, 0.2, 40.0
CLEAR_BLENDED_PX = 4.0
MANY_BLOCKS = 40  # a scan with more of them is judged by chunks of rows
MOST_CHUNKS = 32  # that are looked at
LEAST_ROWS = 32
BLENDED_EVERY = 3  # columns: a ramp a pixel beside another is nearly the same
BLEND_COUNTS = 0.5  # of a peak with a blend zone: soft passages look like one
SUSPECT = 12.0  # a run scores less wherever chance alone speaks
PROVEN = 4.0  # a run that promised this much more than was found in it is not doubled
LEAST_PROMISE = 30.0  # with less a run that is not bare could hide a doubling
MOST_DULL = 0.15  # share of the rows in such blocks that is harmless: nothing much could be seen doubled there
MOST_SUSPECTS = 4  # looked at again
SAME_PX = 4  # suspects this near each other are one


@dataclass(frozen=True)
class Stretch:
    """One run of rows: what stands out most in it within the stitch's tolerance (rival: elsewhere in the same rows),
    and what a doubling of 5 px would score. `bare`: nothing is to be seen there that could be doubled. `dull`: share of
    all looked at rows that are in blocks too dull to show one, and not bare."""

    rows: range
    mark: Mark
    promise: float
    bare: bool
    dull: float = 1.0
    short: bool = False


@dataclass(frozen=True)
class _Looked:
    """A strip's likelihoods (blocks, blends, hypotheses, columns) for a stitch at each of `columns`, its views either
    cut or blended; `counts`: how much of a peak is believed."""

    columns: npt.NDArray[np.int64]
    blends_px: tuple[float, ...]
    likely: npt.NDArray[np.float32]
    counts: float


def stretches(own: Sequence[Strip], ground: Ground) -> list[Stretch]:
    """Every run of rows along the stitch; empty when the strips hold too few rows."""
    blocks = _blocks(own, ground.rows)
    looks = _looks(own, blocks, ground)
    if not blocks or not looks:
        return []
    promises = _promises(own, blocks)
    bare = np.max([changes(strip, blocks, _columns(strip, ground)) for strip in own], axis=0) < BARE
    lengths = sorted({max(round(share * len(blocks)), 1) for share in SHARES})
    rows, usual = np.array([len(block) for block in blocks]), lengths[0]
    dull = float(rows[(promises * usual < LEAST_PROMISE) & ~bare].sum() / rows.sum())
    short = round(SHORT_SHARE * len(blocks))
    if len(own) == 1 and short * float(np.median(rows)) >= SHORT_ROWS:  # over the whole width chance has too many
        lengths = sorted({short, *lengths})
    return [
        Stretch(
            range(blocks[first].start, blocks[first + run - 1].stop),
            mark,
            float(promises[first : first + run].sum()),
            bool(bare[first : first + run].all()),
            dull,
            run < usual,
        )
        for run in lengths
        for alike in _alike(looks)
        for first, mark in enumerate(_marks(alike, run))
    ]


def suspects(found: Sequence[Stretch]) -> list[Stretch]:
    """The runs whose highest score could be a doubling's, those nearest to their promise first, each place once."""
    each = [s for s in found if _speaks(s.mark) and s.mark.score * PROVEN > s.promise]
    each = [s for s in each if not passes_for_softness(s.mark)]
    kept: list[Stretch] = []
    for stretch in sorted(each, key=lambda s: s.mark.score / max(s.promise, LEAST_PROMISE), reverse=True):
        if not any(_same(stretch, other) for other in kept):
            kept.append(stretch)
    return kept[:MOST_SUSPECTS]


def _speaks(mark: Mark) -> bool:
    return mark.score >= max(SUSPECT, ABOVE_RIVAL * mark.rival)


def speaking_most(own: Sequence[Strip], found: Sequence[Stretch]) -> tuple[Stretch, Second] | None:
    """The suspect whose own rows speak most for it, with what they say; None when they refute every one."""
    looked = [(each, seen_again(own, each)) for each in suspects(found)]
    left = [(s, q) for s, q in looked if clear(s.mark, q) and not passes_for_softness(q.mark)]
    left = [(s, q) for s, q in left if tells_a_lift(s, q, len(own) == 1) or not q.refuted]
    return max(left, key=lambda pair: (tells_a_lift(pair[0], pair[1], len(own) == 1), pair[1].speaks), default=None)


def tells_a_lift(stretch: Stretch, second: Second, place_known: bool = True) -> bool:
    """Whether a suspect that is `clear` is a lift: its rows confirm it or, where they speak less than they promise,
    both looks agree. Where a few rows are loud and the others calm, the second, in which each counts alike, expects too
    much. Over the whole width of a scan chance has too many places for all but rows that confirm it."""
    if second.confirmed:
        return True
    first, again = stretch.mark.score / max(stretch.promise, LEAST_PROMISE), second.speaks / max(second.expected, 1.0)
    agree = again >= AGREED_SHARE_AGAIN and first + again >= AGREED_SHARE
    return place_known and agree and second.speaks >= AGREED_AGAIN


def clear(mark: Mark, second: Second) -> bool:
    """Whether a suspect stands clearly above the other columns of its rows in both looks. Lifts of 4 to 28 px did so
    2.3 and 8 times and more on made scans; chance, in all but a few sound ones, did not in one of the two."""
    return mark.score >= CLEAR * mark.rival and second.speaks >= CLEAR_AGAIN * second.rival


def passes_for_softness(mark: Mark) -> bool:
    """A small displacement over a blend zone: where only few rows speak for it, a soft passage shows the same."""
    return mark.blend_px > 0 and mark.px < CLEAR_BLENDED_PX


def seen_again(own: Sequence[Strip], stretch: Stretch) -> Second:
    """The second look at a stretch; at a short one with some rows beyond it, where the lift may go on."""
    rows, beyond = stretch.rows, len(stretch.rows) // 4 if stretch.short else 0
    rows = range(max(rows.start - beyond, 0), rows.stop + beyond)
    return look_again(around(list(own), stretch.mark.column), stretch.mark, rows, LEAST_NOISE)


def blind(found: Sequence[Stretch]) -> Stretch | None:
    """A stretch with something to be seen in it that would not have shown a doubling: the least promising. None where
    such rows are few."""
    each_dull = [each for each in found if not (each.short or each.bare) and each.dull >= MOST_DULL]
    silent = [each for each in each_dull if each.promise < LEAST_PROMISE]
    return min(silent, key=lambda each: each.promise, default=None)


def _same(one: Stretch, other: Stretch) -> bool:
    near = abs(one.mark.column - other.mark.column) <= SAME_PX and abs(one.mark.px - other.mark.px) <= SAME_PX / 2
    return near and one.rows.start < other.rows.stop and other.rows.start < one.rows.stop


def _alike(looks: list[_Looked]) -> list[list[_Looked]]:
    """Those of cut views and those of blended ones: soft passages, which speak for the latter, hide no cut."""
    both = [[look for look in looks if (look.blends_px[0] > 0) is blended] for blended in (False, True)]
    return [alike for alike in both if alike]


def _marks(looks: list[_Looked], run: int) -> list[Mark]:
    """What stands out most at the stitch, run by run, with the highest elsewhere in the same rows."""
    every = [_above(look, run) for look in looks]
    return [_mark(looks, [peaks[first] for peaks in every]) for first in range(len(every[0]))]


def _mark(looks: list[_Looked], peaks: list[Peaks]) -> Mark:
    """The highest of one run's peaks (blends, shifts, columns) of each look."""
    look, best = max(zip(looks, peaks, strict=True), key=lambda pair: float(pair[1].max()))
    blend, shift, place = np.unravel_index(int(best.argmax()), best.shape)
    px, blend_px, column = SHIFTS_PX[int(shift)], look.blends_px[int(blend)], int(look.columns[place])
    away = [np.abs(other.columns - column) > px + blend_px + SAME_PX for other in looks]
    others = [each[..., far].max() for each, far in zip(peaks, away, strict=True) if far.any()]
    return Mark(column, blend_px, float(best.max()), max(0.0, *map(float, others), 0.0), px, px)


def _above(look: _Looked, run: int) -> Peaks:
    """Each displacement's likelihood in every run of blocks less the best of none, nothing in common and those beside
    it: (runs, blends, shifts, columns)."""
    sums = np.concatenate([np.zeros_like(look.likely[:1]), np.cumsum(look.likely, axis=0, dtype=np.float64)])
    total = sums[run:] - sums[:-run]
    tried, shown = total[:, :, 1:-1], len(SHIFTS_PX)
    rival = np.maximum(total[:, :, :1], total[:, :, -1:])
    rival = np.maximum(rival, np.maximum(tried[:, :, :shown], tried[:, :, 2 * BESIDE :]))
    peaks = tried[:, :, BESIDE : BESIDE + shown] - rival
    return np.asarray(peaks * look.counts, dtype=np.float32)


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
    return [look for s, columns in each if len(columns) for look in _look(s, blocks, columns)] if blocks else []


def _look(strip: Strip, blocks: list[range], columns: npt.NDArray[np.int64]) -> list[_Looked]:
    """Cut views are tried at every column, blended ones at every BLENDED_EVERY-th."""
    even, blends = [strip.even(rows.start, rows.stop) for rows in blocks], strip.search.blends_px
    process, found = process_of(even, LEAST_NOISE), []
    cut = tuple(blend for blend in blends if blend <= 0)
    blended = tuple(blend for blend in blends if blend > 0)
    for widths, at, counts in ((cut, columns, 1.0), (blended, columns[::BLENDED_EVERY], BLEND_COUNTS if cut else 1.0)):
        if widths:
            forms = [process.forms(seam_near.HALF, width, TRIED_PX) for width in widths]
            likely = seam_near.likelihoods_under(even, at - strip.first, forms)
            found.append(_Looked(at, widths, likely.astype(np.float32), counts))
    return found


def _promises(own: Sequence[Strip], blocks: list[range]) -> Floats:
    """What a doubling of 5 px would show in each block, at the strip where it shows least."""
    some = own[:: max(len(own) // 2, 1)]
    each = [[_promise(strip, rows) for rows in blocks] for strip in some]
    return np.asarray(np.min(np.array(each), axis=0), dtype=np.float64)


def _promise(strip: Strip, rows: range) -> float:
    return seam_near.promise(strip.even(rows.start, rows.stop), strip.search.blends_px, LEAST_NOISE)
