"""Finds the stitch within its tolerance by what doubling would explain there, and holds it against the scan's own
columns without a stitch. Two ways of looking: the likelihood near each column (small displacements, and exact), and the
repeats of the whitened strip (large ones, and those that a wide blend zone leaves faint)."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from . import seam_near
from .doubling import Evidence, Search, evidence
from .seam_bare import BARE, changes
from .seam_ends import ends
from .seam_path import BEGIN_COST, COMMON, DRIFT_COST, LOUDEST, Paths, deviations, spread_of
from .seam_profile import Sample, costs, profile, profiles, route, settle
from .seam_strip import BLOCK_ROWS, CHUNK_ROWS, Strip

Columns = npt.NDArray[np.int64]

LEAST_CONTROLS = 90  # columns without a stitch that the stitch is compared with
RUN_SHARES = (1.0, 0.4, 0.15)  # a lift may take up only a part of the stitch
CONTROL_STEP = 3  # of the columns without a stitch, every third is looked at closely
LEAST_PROMISE = 20.0
MOST_HINTS, LEAST_HINT = 3, 2.0  # places that repeat: how many are kept, and the score of all but the first
HINTS_APART_PX = 6
LARGE_PX = 2.5  # displacements that would be a fault, whatever the limit is set to


@dataclass(frozen=True)
class Ground:
    """Where to look: rows and columns of the work, px, and the columns the stitch may lie in."""

    rows: range
    columns: range
    stitch: range


@dataclass(frozen=True)
class Mark:
    """What stands out most within the stitch's tolerance: its column and blend width, its score, the highest score of
    the columns without a stitch, the usual displacement that spoke for it, and the largest."""

    column: int
    blend_px: float
    score: float
    rival: float
    px: float
    most_px: float


@dataclass(frozen=True)
class Suspects:
    """`near`: from the likelihood; `far`: from the repeats; `promise`: the score of `near` that a displacement of 5 px
    all along would have had (in the judged blocks), `judged`: share of blocks that promise anything or have nothing to
    be seen in them; `large`: what stands out most of the displacements of LARGE_PX or more, from the likelihood."""

    near: Mark
    far: Mark
    promise: float
    judged: float
    large: Mark
    hints: tuple[tuple[Mark, range], ...]  # the places that repeat most, and the rows between which they do


def find(own: list[Strip], controls: list[Strip], ground: Ground) -> Suspects | None:
    """None when there is too little to compare the stitch with."""
    at_seam = [_Part(strip, ground.columns, ground.stitch) for strip in own]
    elsewhere = [_Part(strip, ground.columns, None) for strip in controls]
    at_seam, elsewhere = ([p for p in parts if len(p.columns)] for parts in (at_seam, elsewhere))
    if not at_seam or sum(len(part.columns) for part in elsewhere) < LEAST_CONTROLS:
        return None
    chunks = _shared_chunks([part.strip for part in (*at_seam, *elsewhere)], ground.rows)
    if not chunks:
        return None
    with ThreadPoolExecutor(1) as beside:
        far = beside.submit(_far, at_seam, elsewhere, chunks)
        near, promise, judged, large = _near(at_seam, elsewhere, chunks)
        hints = far.result()
    return Suspects(near, hints[0][0], promise, judged, large, hints)


class _Part:
    """A strip and those of its columns that are wanted."""

    def __init__(self, strip: Strip, work: range, stitch: range | None) -> None:
        inside = [c for c in strip.columns if c in work and (stitch is None or c in stitch)]
        self.strip = strip
        self.columns = np.asarray(inside, dtype=np.int64)
        self._pieces = {piece.row: piece for piece in strip.pieces}

    def evidence(self, row: int) -> Evidence:
        whole = evidence(self._pieces[row].products.astype(np.float32), self.strip.search)
        return whole[..., self.columns - self.strip.columns.start]

    def likelihoods(self, chunks: list[int], columns: Columns) -> seam_near.Likelihoods:
        even = [self.strip.even(row) for row in chunks]
        return seam_near.likelihoods(even, columns - self.strip.first, self.strip.search.blends_px)


def _shared_chunks(strips: list[Strip], rows: range) -> list[int]:
    shared = set.intersection(*[set(strip.greys) for strip in strips])
    return sorted(
        row
        for row in shared
        if row in rows and row + CHUNK_ROWS <= rows.stop and len(strips[0].greys[row]) == CHUNK_ROWS
    )


def _near(at_seam: list[_Part], elsewhere: list[_Part], chunks: list[int]) -> tuple[Mark, float, float, Mark]:
    blends = at_seam[0].strip.search.blends_px
    columns = _columns(at_seam)
    here = np.concatenate([part.likelihoods(chunks, part.columns) for part in at_seam], axis=-1)
    if elsewhere[0].strip is at_seam[0].strip:
        others, there = columns, here
    else:
        others = np.concatenate([part.columns[::CONTROL_STEP] for part in elsewhere])
        there = np.concatenate([p.likelihoods(chunks, p.columns[::CONTROL_STEP]) for p in elsewhere], axis=-1)
    lengths = sorted({max(round(share * len(chunks)), 1) for share in RUN_SHARES})
    peaks, rivals = ([seam_near.peaks(each, run) for run in lengths] for each in (here, there))
    marks = [_mark(own, rival, columns, others, blends) for own, rival in zip(peaks, rivals, strict=True)]
    small = [shift < LARGE_PX for shift in seam_near.SHIFTS_PX]
    for each in (*peaks, *rivals):
        each[:, :, small] = -np.inf
    larger = (_mark(own, rival, columns, others, blends) for own, rival in zip(peaks, rivals, strict=True))
    large = max(larger, key=lambda each: each.score)
    mark = max(marks, key=lambda each: each.score / max(each.rival, 30.0))
    promised, judged = zip(*(_promised(part, chunks[:: min(len(at_seam), 3)]) for part in at_seam), strict=True)
    return mark, min(promised) * len(chunks), min(judged), large


def _promised(part: _Part, chunks: list[int]) -> tuple[float, float]:
    """Of a doubling of 5 px: half the peak a chunk would show, in the mean, and the share of chunks that show it or
    have nothing to show."""
    strip = part.strip
    each = [seam_near.promise(strip.even(row), strip.search.blends_px) for row in chunks]
    bare = changes(strip, [range(row, row + CHUNK_ROWS) for row in chunks], part.columns) < BARE
    return float(np.mean(each)) / 2, float(np.mean((np.array(each) > LEAST_PROMISE) | bare))


def _mark(
    here: seam_near.Peaks, there: seam_near.Peaks, columns: Columns, others: Columns, blends: tuple[float, ...]
) -> Mark:
    best = here.max(axis=0)  # (blends, shifts, columns)
    blend, shift, place = np.unravel_index(int(best.argmax()), best.shape)
    px = seam_near.SHIFTS_PX[int(shift)]
    away = np.abs(others - columns[place]) > px + blends[blend] + 4
    rival = float(there.max(axis=(0, 1, 2))[away].max()) if len(there) and away.any() else 0.0
    return Mark(int(columns[place]), blends[blend], max(float(best.max()), 0.0), max(rival, 0.0), px, px)


def _far(at_seam: list[_Part], elsewhere: list[_Part], chunks: list[int]) -> tuple[tuple[Mark, range], ...]:
    search = at_seam[0].strip.search
    columns, others = _columns(at_seam), _columns(elsewhere)
    paths = Paths(search, len(columns) + len(others))
    blocks: list[npt.NDArray[np.float16]] = []
    starts = [start + top for start in chunks for top in range(0, CHUNK_ROWS, BLOCK_ROWS)]
    for row in starts:
        here = np.concatenate([part.evidence(row) for part in at_seam], axis=-1)
        there = np.concatenate([part.evidence(row) for part in elsewhere], axis=-1)
        found = deviations(np.concatenate([here, there], axis=-1), spread_of(there))
        blocks.append(np.clip(found[..., : len(columns)], -100, 100).astype(np.float16))
        paths.add(found)
    best = paths.best() - BEGIN_COST
    kept = []
    for blend, place in _highest(best[:, : len(columns)], columns):
        path = _path(np.stack([block[blend, :, place] for block in blocks]).astype(np.float64), search)
        doubled = [(row, px) for row, px in zip(starts, path, strict=True) if px is not None]
        lags = [px for _, px in doubled] or [search.lags_px[0]]
        away = np.abs(others - columns[place]) > max(lags) + search.blends_px[blend] + 8
        rivals = best[:, len(columns) :][:, away]
        rival, score = float(rivals.max()) if rivals.size else 0.0, float(best[blend, place])
        mark = Mark(int(columns[place]), search.blends_px[blend], score, rival, float(np.median(lags)), max(lags))
        kept.append((mark, range(doubled[0][0], doubled[-1][0] + BLOCK_ROWS) if doubled else range(0)))
    return tuple(kept)


def _highest(best: npt.NDArray[np.float32], columns: Columns) -> list[tuple[int, int]]:
    """Blend width and place of the highest score, and of those clear of it that are worth a look."""
    left = best.copy()
    found: list[tuple[int, int]] = []
    while len(found) < MOST_HINTS:
        blend, place = np.unravel_index(int(left.argmax()), left.shape)
        if found and left[blend, place] < LEAST_HINT:
            break
        found.append((int(blend), int(place)))
        left[:, np.abs(columns - columns[place]) <= HINTS_APART_PX] = -np.inf
    return found


def _path(blocks: npt.NDArray[np.float64], search: Search) -> list[float | None]:
    """Displacement of each block along the best path through the deviations of the blocks (blocks, lags)."""
    lags = np.asarray(search.lags_px)
    states = route(np.minimum(blocks, LOUDEST) - COMMON, costs(lags, DRIFT_COST, BEGIN_COST))
    return [float(lags[state]) if state < len(lags) else None for state in states]


def _columns(parts: list[_Part]) -> Columns:
    return np.concatenate([part.columns for part in parts])


def samples(
    own: list[Strip], mark: Mark, rows: range, most_px: float, closely: bool = True
) -> tuple[Mark, tuple[Sample, ...]]:
    """The mark with its column and blend width as the rows have them likeliest (`closely`; a mark that nothing speaks
    for is left where it is), and the profile along the stitch."""
    strip = around(own, mark.column)
    if closely:
        column, blend_px = settle(strip, mark.column, mark.blend_px, mark.px, rows)
        mark = replace(mark, column=column, blend_px=blend_px)
    return mark, profile(strip, mark.column, mark.blend_px, most_px, rows)


def samples_wide(own: list[Strip], mark: Mark, rows: range) -> tuple[Mark, tuple[Sample, ...]]:
    """The same without relying on the mark's displacement: a soft picture shows its break at the stitch where the
    repeat's lag should be. All displacements are tried, at the mark's column and those beside it."""
    strip = around(own, mark.column)
    most = strip.search.lags_px[-1]
    places = range(mark.column - 1, mark.column + 2)
    tried = zip(places, profiles(strip, places, mark.blend_px, most, rows), strict=True)
    column, along = max(tried, key=lambda each: speaking(each[1]))
    return replace(mark, column=column), along


def ends_of(own: list[Strip], mark: Mark, along: tuple[Sample, ...], px: float, rows: range) -> tuple[int, int] | None:
    """First row and one past the last between which the doubling is above half of `px`; None without a doubled one."""
    doubled = [sample for sample in along if (sample.px or 0.0) >= px / 2]
    if not doubled:
        return None
    strip = around(own, mark.column)
    past = doubled[-1].row + BLOCK_ROWS
    return ends(strip, mark.column, mark.blend_px, px, doubled[0].row, past, rows)


def around(own: list[Strip], column: int) -> Strip:
    """The strip that shows most around a column; one that was settled may lie a little outside what is judged."""
    return max(own, key=lambda strip: min(column - strip.first, strip.past - column))


def speaking(along: tuple[Sample, ...]) -> float:
    """What the doubled samples of a profile speak for it, together."""
    return sum(sample.speaks for sample in along if sample.px is not None)
