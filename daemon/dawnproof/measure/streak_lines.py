"""Which columns of a scan carry a streak that the lid proves: the judgement behind `streaks`, on column profiles per
stretch of the height."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .streak_filter import LEAST_SPREAD, WidthStrength, block_spread, strength_by_width

Profile = npt.NDArray[np.float32]  # (stretches, columns)
Line = npt.NDArray[np.float64]  # (stretches,) of one column

LEAST_SHARE = 0.3  # of the height
LEAST_STRENGTH = 0.005
WIDTHS_PX = (1, 2, 3, 4)
LEAST_Z = 4.2
LEAST_LID_Z = 6.0
ONE_LID_Z = 7.0  # where only one end of the lid lies in the run
TELLING_LID_Z = 5.0  # what the lid must be able to show of the work's streak to be asked
NOT_AGAINST = 4.0  # log likelihood by which a longer run may be less likely and still be possible
BLOCK = 64  # columns over which the spread of a stretch is taken
WIDE_BLOCK = 512  # columns over which the spread of the whole columns is taken
APART_PX = 7  # a streak answers with faint counter-lines up to this far
MOST_LOOKED_AT = 300
SIDE_LINE = 0.7  # a line less strong than this share of one beside it is that one's counter-line
WHITEST, BLACKEST = 0.995, 0.012  # tones that cannot show a streak of either sign


@dataclass(frozen=True, slots=True)
class Streak:
    """One streak: `column` its centre (px, column centres at whole numbers), `strength` signed share, + brighter,
    rows from `first_row` to `last_row`, `z` against the spread of the other columns, `on_lid` whether what surrounds
    the work shows it too."""

    column: float
    width_px: float
    strength: float
    first_row: int
    last_row: int
    z: float
    on_lid: bool


@dataclass(frozen=True, slots=True)
class Beside:
    """Where the work is not: `lid` (stretches,) True where a stretch lies wholly beside it, `edge` (stretches,
    columns) True where its left or right edge passes so close that the columns tell nothing."""

    lid: npt.NDArray[np.bool_]
    edge: npt.NDArray[np.bool_]


def find_streaks(share: Profile, tone: Profile, beside: Beside, rows_each: float) -> tuple[Streak, ...]:
    """The streaks that the lid shows too, strongest first. `share`: columns against the mean of their two neighbours;
    `tone`: their tone; `rows_each`: rows of a stretch."""
    if not beside.lid.any():
        return ()
    candidates = [
        candidate
        for strength in strength_by_width(share, WIDTHS_PX)
        for candidate in _Columns(strength, share, tone, beside, rows_each).candidates()
    ]
    candidates.sort(key=lambda candidate: -candidate.size)
    apart: list[Streak] = []
    for candidate in candidates:
        beside_it = [other.size for other in candidates if abs(other.column - candidate.column) < APART_PX]
        if candidate.size < SIDE_LINE * max(beside_it):
            continue
        streak = candidate.judged()
        if streak and all(abs(streak.column - other.column) >= APART_PX for other in apart):
            apart.append(streak)
    return tuple(sorted(apart, key=lambda streak: -abs(streak.strength)))


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A column that stands out, with the `z` of all columns as it was found."""

    columns: _Columns
    column: int
    rough: float
    z: npt.NDArray[np.float64]

    @property
    def size(self) -> float:
        return float(abs(self.z[self.column]))

    def judged(self) -> Streak | None:
        return self.columns.judge(self.column, self.rough, self.z)


class _Columns:
    """How strong a streak of one width would be in each column and stretch, over all columns."""

    def __init__(
        self,
        strength: WidthStrength,
        against: Profile,
        tone: Profile,
        beside: Beside,
        rows_each: float,
    ) -> None:
        change = strength.share
        self._change = change
        self._width_px = strength.width_px
        self._against = against
        self._tone = tone
        self._lid = beside.lid
        self._upper = np.arange(len(beside.lid)) < len(beside.lid) // 2
        self._rows_each = rows_each
        self._count, self._width = change.shape
        self._least = max(1, int(np.ceil(LEAST_SHARE * self._count - 1e-6)))
        self._spread = block_spread(change, BLOCK)
        blind = (tone > WHITEST) | (tone < BLACKEST) | beside.edge
        self._weight = np.where(blind, 0.0, 1.0 / self._spread**2).astype(np.float32)

    def candidates(self) -> Iterator[_Candidate]:
        strength, z = self._best_run()
        for column in self._peaks(strength, z, LEAST_Z):
            yield _Candidate(self, int(column), float(strength[column]), z)
        for part in (self._lid, self._lid & self._upper, self._lid & ~self._upper):
            if part.any():
                strength, lid_z = self._together(part)
                for column in self._peaks(strength, lid_z, LEAST_LID_Z):
                    yield _Candidate(self, int(column), float(strength[column]), lid_z)

    def _together(self, part: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Strength and z of each column over some of the stretches."""
        sum_w = self._weight[part].sum(axis=0)
        sum_wm = (self._weight[part] * self._change[part]).sum(axis=0)
        z = sum_wm / np.sqrt(np.maximum(sum_w, 1e-12))
        spread = block_spread(z[None], WIDE_BLOCK)[0]
        return sum_wm / np.maximum(sum_w, 1e-12), z / np.maximum(spread, 1.0)

    def _best_run(self) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Strength and z of each column over its best run from the first or to the last stretch."""
        strength = np.zeros(self._width)
        best = np.zeros(self._width)
        for back in (False, True):
            weight = self._weight[::-1] if back else self._weight
            change = self._change[::-1] if back else self._change
            sum_w = np.cumsum(weight, axis=0)[self._least - 1 :]
            sum_wm = np.cumsum(weight * change, axis=0)[self._least - 1 :]
            z = sum_wm / np.sqrt(np.maximum(sum_w, 1e-12))
            run = np.argmax(np.abs(z), axis=0)[None]
            z_run = np.take_along_axis(z, run, 0)[0]
            better = np.abs(z_run) > np.abs(best)
            best = np.where(better, z_run, best)
            mean = np.take_along_axis(sum_wm / np.maximum(sum_w, 1e-12), run, 0)[0]
            strength = np.where(better, mean, strength)
        spread = block_spread(best[None].astype(np.float32), WIDE_BLOCK)[0]
        return strength, best / np.maximum(spread, 1.0)

    def _peaks(
        self, strength: npt.NDArray[np.float64], z: npt.NDArray[np.float64], least_z: float
    ) -> npt.NDArray[np.int64]:
        size = np.abs(z)
        padded = np.pad(size, 1)
        peak = (size >= padded[:-2]) & (size >= padded[2:]) & (size > least_z)
        peak &= np.abs(strength) > 0.5 * LEAST_STRENGTH
        at = np.flatnonzero(peak)
        return at[np.argsort(-size[at])][:MOST_LOOKED_AT]

    def judge(self, column: int, rough: float, z: npt.NDArray[np.float64]) -> Streak | None:
        proven = self._on_both_lids(column)
        if proven is not None:
            return None if self._is_step(column, self._lid, proven) else self._streak(column, 0, self._count, proven, z)
        run = self._run(column, rough)
        if run is None:
            return None
        first, last = run
        share = self._share(column, first, last)
        if share is None or abs(share) < LEAST_STRENGTH:
            return None
        if not self._on_lid(column, first, last, share) or not self._agrees(column, first, last, share, 0.5):
            return None
        share = self._share(column, first, last, closest=20.0) or share
        if self._is_step(column, self._rows(first, last) & self._lid, share):
            return None
        return self._streak(column, first, last, share, z)

    def _streak(self, column: int, first: int, last: int, share: float, z: npt.NDArray[np.float64]) -> Streak | None:
        if abs(share) < LEAST_STRENGTH:
            return None
        return Streak(
            column=column + (self._width_px - 1) / 2,
            width_px=float(self._width_px),
            strength=share,
            first_row=round(first * self._rows_each),
            last_row=round(last * self._rows_each),
            z=float(abs(z[column])),
            on_lid=True,
        )

    def _on_both_lids(self, column: int) -> float | None:
        """The share that the lid shows alike above and below the work: a sensor's, whatever the work in between says;
        None where it does not."""
        sides: list[tuple[float, float]] = []
        for part in (self._lid & self._upper, self._lid & ~self._upper):
            weight = self._weight[part, column]
            if weight.sum() <= 0:
                return None
            seen = float(np.sum(weight * self._change[part, column]) / weight.sum())
            sides.append((seen, 1.0 / float(np.sqrt(weight.sum()))))
        (above, doubt_above), (below, doubt_below) = sides
        if min(abs(above) / doubt_above, abs(below) / doubt_below) < TELLING_LID_Z:
            return None
        share = (above / doubt_above**2 + below / doubt_below**2) / (doubt_above**-2 + doubt_below**-2)
        close = max(0.3 * abs(share), 3.0 * float(np.hypot(doubt_above, doubt_below)))
        return share if abs(above - below) <= close and above * below > 0 else None

    def _run(self, column: int, share: float) -> tuple[int, int] | None:
        """The run from the first or to the last stretch in which this share is likelier than none, or in which at
        least nothing speaks against it."""
        gain = self._weight[:, column] * (self._change[:, column] * share - share * share / 2)
        gain = np.clip(gain, -9.0, 9.0)
        back = np.cumsum(gain[::-1]).max() > np.cumsum(gain).max()
        sums = np.cumsum(gain[::-1] if back else gain)
        likeliest = int(np.argmax(sums)) + 1
        possible = int(np.flatnonzero(sums >= sums.max() - NOT_AGAINST)[-1]) + 1
        if possible < self._least:
            return None
        length = max(likeliest, self._least)
        return (self._count - length, self._count) if back else (0, length)

    def _share(self, column: int, first: int, last: int, closest: float = 3.0) -> float | None:
        """Mean share over the run, no stretch counting for more than one that knows it to 1 / `closest`."""
        change = self._change[first:last, column]
        seen = self._weight[first:last, column] > 0
        if seen.sum() < 2:
            return None
        weight = self._even_weight(column, float(np.median(change[seen])), closest)[first:last]
        return float(np.sum(weight * change) / np.sum(weight))

    def _even_weight(self, column: int, share: float, closest: float = 3.0) -> npt.NDArray[np.float64]:
        seen = self._weight[:, column] > 0
        spread = self._spread[:, column]
        return np.asarray((seen + 1e-9) / np.maximum(spread, abs(share) / closest + LEAST_SPREAD) ** 2, np.float64)

    def _agrees(self, column: int, first: int, last: int, share: float, least: float) -> bool:
        """A sensor's share is the same whatever lies there: that part of the telling stretches must say so."""
        change, spread = self._change[first:last, column], self._spread[first:last, column]
        telling = (self._weight[first:last, column] > 0) & (spread < abs(share) / 2)
        if not telling.any():
            return True
        near = np.abs(change - share) <= np.maximum(2.5 * spread, 0.4 * abs(share))
        return bool(near[telling].mean() >= least)

    def _on_lid(self, column: int, first: int, last: int, share: float) -> bool:
        """The lid within the run can tell, and shows the same."""
        change, spread = self._change[first:last, column], self._spread[first:last, column]
        lid = self._lid[first:last] & (self._weight[first:last, column] > 0)
        weight = lid / spread**2
        doubt = 1.0 / float(np.sqrt(max(weight.sum(), 1e-12)))
        if doubt > abs(share) / ONE_LID_Z:
            return False
        seen = float(np.sum(weight * change) / weight.sum())
        off = change[~self._lid[first:last]] - share
        own = 1.4826 * float(np.median(np.abs(off))) / float(np.sqrt(len(off))) if len(off) else 0.0
        allowed = min(3.0 * float(np.hypot(doubt, own)), 0.8 * abs(seen))
        return abs(seen - share) <= max(0.4 * abs(seen), allowed)

    def _rows(self, first: int, last: int) -> npt.NDArray[np.bool_]:
        place = np.arange(self._count)
        return (place >= first) & (place < last)

    def _is_step(self, column: int, rows: npt.NDArray[np.bool_], share: float) -> bool:
        """An edge, not a line: a line stands out alike against both its sides, and leaves no other tone behind it."""
        weight = self._even_weight(column, share)[rows]
        mean = weight @ self._against[rows] / weight.sum()
        left, right = mean[max(0, column - 1)], mean[min(self._width - 1, column + self._width_px)]
        near = mean[max(0, column - BLOCK) : column + BLOCK]
        doubt = 1.4826 * float(np.median(np.abs(near - np.median(near))))
        if abs(left - right) > 0.5 * abs(share) + 3.0 * doubt:
            return True
        step, doubt = self._tone_step(column, rows)
        return abs(step) > 0.8 * abs(share) + 3.0 * doubt

    def _tone_step(self, column: int, rows: npt.NDArray[np.bool_]) -> tuple[float, float]:
        """Change of tone from left to right of the column, as a share, and how far such a change is usual there."""
        reach = self._width_px + 6
        left = max(0, column - BLOCK - reach)
        tone = self._tone[rows, left : column + BLOCK + reach]
        sums = np.cumsum(np.pad(tone, ((0, 0), (1, 0))), axis=1, dtype=np.float64)
        mean = (sums[:, 4:] - sums[:, :-4]) / 4  # of four columns from the one named
        before, after = mean[:, : -(reach + 2)], mean[:, reach + 2 :]
        steps = (after - before) / np.maximum((after + before) / 2, 0.03)
        middle = np.median(steps, axis=0)
        here = int(np.clip(column - 6 - left, 0, len(middle) - 1))
        along = 1.4826 * float(np.median(np.abs(steps[:, here] - middle[here]))) / float(np.sqrt(len(steps)))
        across = 1.4826 * float(np.median(np.abs(middle - np.median(middle))))
        return float(middle[here]), float(np.hypot(along, across))
