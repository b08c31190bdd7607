"""Streaks that the work alone shows, without a lid: a line of constant share over the height, unlike all others.

A candidate stands out by both its edges at once. It must then be what a sensor column is and a painted line is not:
alike on both sides, alike in every part of the height, without a step of tone, and far beyond what the image's own
columns do.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .streak_edges import GAIN, SHARPEN, EdgeSums
from .streak_filter import block_spread
from .streak_lines import Beside, Streak

Values = npt.NDArray[np.float64]

LEAST_SHARE = 0.3  # of the height
SHARES = (1.0, 0.85, 0.7, 0.55, 0.42, 0.32)  # of the height that a run from either end is looked for in
LEAST_STRENGTH = 0.005
WIDE_BLOCK = 512  # columns over which the usual size is taken
LEAST_Z = 3.2
ALONE, ALONE_IN_PART = 1.85, 2.4  # times what the image's own lines reach, over the whole height and a part of it
OTHER_STREAKS = 3
APART_PX = 7
NEAREST, FARTHEST = 7, 24  # columns from which a column's difference is foretold
CALM = 4.0  # times the usual spread: a few strong lines must not make the prediction
LOADING = 0.02
MOST_LOOKED_AT = 12  # of one width and run
PARTS = 6  # of the run, each telling as much as the others
UNLIKE = 0.25  # share of the strength by which sides and parts may differ beyond their doubt
TIMES_DOUBT = 3.0
TELLING_LID = 6.0  # times its doubt: so strongly the lid must be able to show a line to be asked
BESIDE = 5  # columns beside the line in which an edge is looked for
REACH = 4  # columns beside the line over which the tone must come back


@dataclass(frozen=True, slots=True)
class LoneLine:
    """A line of `width_px` columns from `column` on, `share` signed, in stretches `first` to `last`; `z` against the
    usual spread of columns, `ratio` against the image's own strongest lines."""

    column: int
    width_px: int
    share: float
    first: int
    last: int
    z: float
    ratio: float

    @property
    def centre(self) -> float:
        return self.column + (self.width_px - 1) / 2


def lone_streaks(sums: EdgeSums, beside: Beside, rows_each: float) -> tuple[Streak, ...]:
    """Streaks of the work alone; none that the lid, where it can tell, does not show. `rows_each`: rows of a
    stretch."""
    near = beside.edge[:, :-1] | beside.edge[:, 1:]
    seen = EdgeSums(*(np.where(near, 0.0, part) for part in (sums.sharp, sums.plain, sums.weight)))
    return tuple(
        Streak(
            column=line.centre,
            width_px=float(line.width_px),
            strength=line.share,
            first_row=round(line.first * rows_each),
            last_row=round(line.last * rows_each),
            z=line.z,
            on_lid=False,
        )
        for line in lone_lines(seen)
        if not _lid_denies(seen, line, beside.lid)
    )


def lone_lines(sums: EdgeSums) -> tuple[LoneLine, ...]:
    """The streaks, strongest evidence first."""
    stretches = len(sums.weight)
    candidates = [line for run in _runs(stretches) for line in _Run(sums, *run).candidates()]
    candidates.sort(key=lambda line: -line.z)
    kept: list[LoneLine] = []
    taken: list[float] = []
    for line in candidates:
        if any(abs(line.centre - place) < APART_PX for place in taken):
            continue
        here = [other for other in candidates if abs(other.centre - line.centre) <= 1.0]
        judged = next((one for one in here if _is_streak(sums, one, stretches)), None)
        taken.append(line.centre)
        if judged is not None:
            kept.append(judged)
    return tuple(kept)


def _runs(stretches: int) -> Iterator[tuple[int, int]]:
    least = max(1, int(np.ceil(LEAST_SHARE * stretches - 1e-6)))
    seen = set()
    for share in SHARES:
        length = max(least, round(share * stretches))
        for run in ((0, length), (stretches - length, stretches)):
            if run not in seen:
                seen.add(run)
                yield run


class _Run:
    """The sums over some of the stretches."""

    def __init__(self, sums: EdgeSums, first: int, last: int) -> None:
        self._first, self._last = first, last
        weight = np.maximum(sums.weight[first:last].sum(axis=0), 1e-9)
        self._edge = sums.sharp[first:last].sum(axis=0) / weight
        self._weight = weight
        root = np.sqrt(weight)
        z = self._edge * root
        usual = block_spread(z[None].astype(np.float32), WIDE_BLOCK)[0]
        foretold = _foretold(z / np.maximum(usual, 1e-9)) * usual
        self._edge = self._edge - foretold / root
        z -= foretold
        self._z = z / np.maximum(block_spread(z[None].astype(np.float32), WIDE_BLOCK)[0], 1e-9)

    def candidates(self) -> Iterator[LoneLine]:
        for width in GAIN:
            left, right = self._z[:-width], -self._z[width:]
            both = np.where(left * right > 0, np.minimum(np.abs(left), np.abs(right)), 0.0)
            padded = np.pad(both, 1)
            peaks = np.flatnonzero((both > padded[:-2]) & (both >= padded[2:]) & (both > 0))
            peaks = peaks[np.argsort(-both[peaks])]
            for at in peaks[:MOST_LOOKED_AT]:
                if both[at] < LEAST_Z:
                    break
                yield self._line(int(at), width, both, peaks)

    def _line(self, at: int, width: int, both: Values, peaks: npt.NDArray[np.intp]) -> LoneLine:
        others = peaks[np.abs(peaks - at) > APART_PX][: OTHER_STREAKS + 1]
        usual = float(both[others[-1]]) if len(others) else 1.0
        left, right = self._weight[at], self._weight[at + width]
        share = (self._edge[at] * left - self._edge[at + width] * right) / (left + right) / GAIN[width]
        ratio = float(both[at]) / max(usual, 1.0)
        return LoneLine(at + 1, width, float(share), self._first, self._last, float(both[at]), ratio)


def _foretold(z: Values) -> Values:
    """What columns further away foretell of each (linear prediction from both sides): laid lines, a weave, a ruled
    sheet. The columns nearest are left out, so that a streak never foretells its own other edge."""
    reach = np.concatenate([np.arange(-FARTHEST, -NEAREST + 1), np.arange(NEAREST, FARTHEST + 1)])
    if len(z) < 8 * len(reach):
        return np.zeros_like(z)
    calm = np.clip(z, -CALM, CALM)
    around = np.stack([np.roll(calm, shift) for shift in reach])
    around[:, :FARTHEST] = around[:, -FARTHEST:] = 0.0
    square = around @ around.T
    square += np.eye(len(reach)) * (LOADING * len(z))
    return np.asarray(np.linalg.solve(square, around @ calm) @ around)


def _is_streak(sums: EdgeSums, line: LoneLine, stretches: int) -> bool:
    whole = line.last - line.first >= 0.99 * stretches
    return (
        abs(line.share) >= LEAST_STRENGTH
        and line.ratio >= (ALONE if whole else ALONE_IN_PART)
        and _sides_agree(sums, line)
        and _parts_agree(sums, line)
        and not _is_step(sums, line)
        and not _is_edge(sums, line)
    )


def _sides_agree(sums: EdgeSums, line: LoneLine) -> bool:
    """Both edges say the same share, within what each can be off."""
    rows = slice(line.first, line.last)
    left, right = (
        sums.sharp[rows, at].sum() / max(sums.weight[rows, at].sum(), 1e-9) / GAIN[line.width_px]
        for at in (line.column - 1, line.column - 1 + line.width_px)
    )
    doubt = abs(line.share) / line.z
    return bool(abs(left + right) <= UNLIKE * abs(line.share) + TIMES_DOUBT * doubt)


def _parts_agree(sums: EdgeSums, line: LoneLine) -> bool:
    """A sensor's share is the same from top to bottom: every part of the run must say so."""
    at, past = line.column - 1, line.column - 1 + line.width_px
    rows = slice(line.first, line.last)
    weight = sums.weight[rows, at] + sums.weight[rows, past]
    told = (sums.sharp[rows, at] - sums.sharp[rows, past]) / GAIN[line.width_px]
    grown = np.cumsum(weight)
    if grown[-1] <= 0:
        return False
    part = np.minimum((grown - weight / 2) / grown[-1] * PARTS, PARTS - 1e-6).astype(int)
    sizes = np.bincount(part, weight, PARTS)
    shares = np.bincount(part, told, PARTS)[sizes > 0] / sizes[sizes > 0]
    doubt = abs(line.share) / line.z * np.sqrt(grown[-1] / sizes[sizes > 0])
    off = np.abs(shares - line.share)
    return len(shares) >= PARTS - 2 and bool(np.all(off <= UNLIKE * abs(line.share) + TIMES_DOUBT * doubt / 2))


def _lid_denies(sums: EdgeSums, line: LoneLine, lid: npt.NDArray[np.bool_]) -> bool:
    """The lid within the run would show the line, and does not."""
    rows = np.flatnonzero(lid[line.first : line.last]) + line.first
    at, past = line.column - 1, line.column - 1 + line.width_px
    weight = float(sums.weight[rows, at].sum() + sums.weight[rows, past].sum())
    if weight <= (TELLING_LID / line.share) ** 2:
        return False
    told = float(sums.sharp[rows, at].sum() - sums.sharp[rows, past].sum()) / weight / GAIN[line.width_px]
    return abs(told - line.share) > 0.5 * abs(line.share)


def _is_step(sums: EdgeSums, line: LoneLine) -> bool:
    """Another tone behind the line than before it, more than is usual between columns so far apart."""
    rows = slice(line.first, line.last)
    plain = sums.plain[rows].sum(axis=0) / np.maximum(sums.weight[rows].sum(axis=0), 1e-9)
    tone = np.concatenate([[0.0], np.cumsum(plain)])
    apart = line.width_px + 2 * REACH + 1
    steps = tone[apart:] - tone[:-apart]
    usual = float(block_spread(steps[None].astype(np.float32), WIDE_BLOCK)[0].max())
    here = int(np.clip(line.column - 1 - REACH, 0, len(steps) - 1))
    return bool(abs(steps[here]) > abs(line.share) + TIMES_DOUBT * usual)


def _is_edge(sums: EdgeSums, line: LoneLine) -> bool:
    """A single edge, sharp or soft, explains what is seen there better than a line does."""
    rows = slice(line.first, line.last)
    first = max(0, line.column - 1 - BESIDE)
    weight = sums.weight[rows, first : line.column + line.width_px + BESIDE].sum(axis=0)
    seen = sums.sharp[rows, first : line.column + line.width_px + BESIDE].sum(axis=0) / np.maximum(weight, 1e-9)
    at = line.column - 1 - first

    def explained(shape: Values) -> float:
        return float((weight * shape) @ seen) ** 2 / max(float(weight @ shape**2), 1e-12)

    edges = np.eye(len(seen))[at - 1 : at + line.width_px + 2]
    sharp = [np.convolve(edge, SHARPEN[0], "same") for edge in edges]
    soft = [np.convolve(edge, (0.25, 0.5, 0.25), "same") for edge in sharp]
    both = sharp[1] - sharp[1 + line.width_px]
    return max(explained(edge) for edge in (*sharp, *soft)) > explained(both)
