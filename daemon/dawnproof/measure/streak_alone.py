"""Streaks that the work alone shows, without a lid: a line of constant share over the height, unlike all others.

A candidate (`streak_match`) must be what a sensor column is and a painted line is not: alike on both sides, alike in
every part of the height, without a step of tone, and far beyond what the image's own columns do.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from .streak_edges import GAIN, EdgeSums
from .streak_filter import block_spread
from .streak_lines import Beside, Streak
from .streak_match import APART_PX, WIDE_BLOCK, LoneLine, Run, edge_shape, line_shape

LEAST_SHARE = 0.3  # of the height
SHARES = (1.0, 0.85, 0.7, 0.55, 0.42, 0.32)  # of the height that a run from either end is looked for in
LEAST_STRENGTH = 0.005
ALONE, ALONE_IN_PART = 1.5, 1.9  # times what the image's own lines reach, over the whole height and a part of it
NEARLY = 0.85  # of the strongest evidence: of runs that say a line so clearly the longest is where it is
PARTS = 6  # of the run, each telling as much as the others
UNLIKE = 0.25  # share of the strength by which sides and parts may differ beyond their doubt
FAR_OFF = 0.6  # the same for a single part
TIMES_DOUBT = 3.0
TELLING_LID = 6.0  # times its doubt: so strongly the lid must be able to show a line to be asked
LEFT_OVER, CHANCE = 0.5, 30.0  # share of what the line explains, and chance, that may be left around it
BLIND_PX = 4  # at the frame's sides: nothing beside a line to hold it against
REACH = 4  # columns beside the line over which the tone must come back


def lone_streaks(sums: EdgeSums, beside: Beside, rows_each: float) -> tuple[Streak, ...]:
    """Streaks of the work alone; none that the lid, where it can tell, does not show. `rows_each`: rows of a
    stretch."""
    near = beside.edge[:, :-1] | beside.edge[:, 1:]
    near[:, :BLIND_PX] = near[:, -BLIND_PX:] = True
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
    runs = {run: Run(sums, *run) for run in _runs(stretches)}
    candidates = [line for run in runs.values() for line in run.candidates()]
    candidates.sort(key=lambda line: -line.z)
    kept: list[LoneLine] = []
    taken: list[float] = []
    for line in candidates:
        if any(abs(line.centre - place) < APART_PX for place in taken):
            continue
        here = [other for other in candidates if abs(other.centre - line.centre) <= 1.0]
        judged = [one for one in here if _is_streak(sums, runs[one.first, one.last], one, stretches)]
        taken.append(line.centre)
        if judged:
            kept.append(max(judged, key=lambda one: (one.z >= NEARLY * judged[0].z, one.last - one.first, one.z)))
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


def _is_streak(sums: EdgeSums, run: Run, line: LoneLine, stretches: int) -> bool:
    whole = line.last - line.first >= 0.99 * stretches
    return (
        abs(line.share) >= LEAST_STRENGTH
        and line.ratio >= (ALONE if whole else ALONE_IN_PART)
        and _sides_agree(sums, line)
        and _parts_agree(sums, line)
        and not _is_step(sums, line)
        and _by_itself(run, line)
    )


def _sides_agree(sums: EdgeSums, line: LoneLine) -> bool:
    """Both edges say the same share, within what each can be off."""
    rows = slice(line.first, line.last)
    left, right = (
        sums.sharp[rows, at].sum() / max(sums.weight[rows, at].sum(), 1e-9) / GAIN[line.width_px]
        for at in (line.column - 1, line.column - 1 + line.width_px)
    )
    return bool(abs(left + right) <= UNLIKE * abs(line.share) + TIMES_DOUBT * line.doubt)


def _parts_agree(sums: EdgeSums, line: LoneLine) -> bool:
    """A sensor's share is the same from top to bottom: every part of the run must say so, but for one in which
    something else may lie along the line."""
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
    doubt = line.doubt * np.sqrt(grown[-1] / sizes[sizes > 0])
    off = np.abs(shares - line.share)
    like = off <= UNLIKE * abs(line.share) + TIMES_DOUBT * doubt / 2
    near = off <= FAR_OFF * abs(line.share) + TIMES_DOUBT * doubt
    return len(shares) >= PARTS - 2 and bool(like.sum() >= len(shares) - 1 and near.all())


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


def _by_itself(run: Run, line: LoneLine) -> bool:
    """The line is what there is to see: no single edge, sharp or soft, says it better, and it leaves little over, as
    the flank of something broader would."""
    sharp = [edge_shape(line.width_px, at) for at in range(-1, line.width_px + 2)]
    soft = [np.convolve(edge, (0.25, 0.5, 0.25), "same") for edge in sharp]
    to_see, (both, *others) = run.explained(line, [line_shape(line.width_px), *sharp, *soft])
    return max(others) <= both and to_see - both <= LEFT_OVER * both + CHANCE
