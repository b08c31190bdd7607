"""Which columns of a scan carry a streak: the judgement behind `streaks`, on column profiles per stretch of the
height (as shares of the neighbours' tone)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Profile = npt.NDArray[np.float32]  # (stretches, columns)
Line = npt.NDArray[np.float64]  # (stretches,) of one column

LEAST_SHARE = 0.3  # of the height
LEAST_STRENGTH = 0.005
WIDEST_PX = 5.0
LEAST_Z = 6.5
LEAST_SPREAD = 1e-4  # of one stretch: coding and calibration leave at least this
BLOCK = 64  # columns over which the spread of a stretch is taken
WIDE_BLOCK = 512  # columns over which the spread of the whole columns is taken
ALIKE_WITHIN_PX = 160  # a weave or laid paper has its like within this
ALIKE_MOST = 3
APART_PX = 7  # a streak answers with faint counter-lines up to this far
MOST_LOOKED_AT = 300
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


def find_streaks(
    near: Profile, far: Profile, tone: Profile, lid: npt.NDArray[np.bool_], rows_each: float
) -> tuple[Streak, ...]:
    """The streaks, strongest first. `near`, `far`: columns against neighbours at two distances; `tone`: their tone;
    `lid` (stretches,): True where the stretch lies wholly beside the work; `rows_each`: rows of a stretch."""
    found: list[Streak] = []
    for change in (near, far):
        found += _Columns(change, far, tone, lid, rows_each).streaks()
    found.sort(key=lambda streak: -streak.z)
    apart: list[Streak] = []
    for streak in found:
        if all(abs(streak.column - other.column) >= APART_PX for other in apart):
            apart.append(streak)
    return tuple(sorted(apart, key=lambda streak: -abs(streak.strength)))


class _Columns:
    """One kind of comparison with the neighbours, over all columns."""

    def __init__(
        self, change: Profile, wide: Profile, tone: Profile, lid: npt.NDArray[np.bool_], rows_each: float
    ) -> None:
        self._change = change
        self._wide = wide
        self._tone = tone
        self._lid = lid
        self._rows_each = rows_each
        self._count, self._width = change.shape
        self._least = max(1, int(np.ceil(LEAST_SHARE * self._count - 1e-6)))
        self._spread = _block_spread(change, BLOCK)
        blind = (tone > WHITEST) | (tone < BLACKEST)
        self._weight = np.where(blind, 0.0, 1.0 / self._spread**2)

    def streaks(self) -> Iterator[Streak]:
        strength, z = self._best_run()
        peaks = self._peaks(strength, z)
        for column in peaks:
            streak = self._judge(int(column), strength, z)
            if streak is not None:
                yield streak

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
        spread = _block_spread(best[None].astype(np.float32), WIDE_BLOCK)[0]
        return strength, best / np.maximum(spread, 1.0)

    def _peaks(self, strength: npt.NDArray[np.float64], z: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
        size = np.abs(z)
        padded = np.pad(size, 1)
        peak = (size >= padded[:-2]) & (size >= padded[2:]) & (size > LEAST_Z)
        peak &= np.abs(strength) > 0.5 * LEAST_STRENGTH
        at = np.flatnonzero(peak)
        return at[np.argsort(-size[at])][:MOST_LOOKED_AT]

    def _judge(self, column: int, strength: npt.NDArray[np.float64], z: npt.NDArray[np.float64]) -> Streak | None:
        run = self._run(column, float(strength[column]))
        if run is None:
            return None
        first, last = run
        share = self._share(column, first, last)
        if share is None or abs(share) < LEAST_STRENGTH:
            return None
        shape = self._shape(column, first, last, share)
        on_lid = self._on_lid(column, first, last, share)
        if shape is None or on_lid is False or not self._agrees(column, first, last, share):
            return None
        if on_lid is None and (self._is_step(column, first, last, share) or self._has_its_like(column, strength, z)):
            return None
        return Streak(
            column=shape[0],
            width_px=shape[1],
            strength=share,
            first_row=round(first * self._rows_each),
            last_row=round(last * self._rows_each),
            z=float(abs(z[column])),
            on_lid=bool(on_lid),
        )

    def _run(self, column: int, share: float) -> tuple[int, int] | None:
        """The run from the first or to the last stretch in which this share is likelier than none."""
        gain = self._weight[:, column] * (self._change[:, column] * share - share * share / 2)
        gain = np.clip(gain, -9.0, 9.0)
        down, up = np.cumsum(gain), np.cumsum(gain[::-1])
        if down.max() >= up.max():
            first, last = 0, int(np.argmax(down)) + 1
        else:
            first, last = self._count - int(np.argmax(up)) - 1, self._count
        return (first, last) if last - first >= self._least else None

    def _share(self, column: int, first: int, last: int) -> float | None:
        """Mean share over the run, no stretch counting for more than one that knows it to a third."""
        change, spread = self._change[first:last, column], self._spread[first:last, column]
        seen = self._weight[first:last, column] > 0
        if seen.sum() < 2:
            return None
        rough = float(np.median(change[seen]))
        weight = seen / np.maximum(spread, abs(rough) / 3 + LEAST_SPREAD) ** 2
        return float(np.sum(weight * change) / np.sum(weight))

    def _agrees(self, column: int, first: int, last: int, share: float) -> bool:
        """A sensor's share is the same whatever lies there: four in five of the telling stretches must say so."""
        change, spread = self._change[first:last, column], self._spread[first:last, column]
        telling = (self._weight[first:last, column] > 0) & (spread < abs(share) / 2)
        if not telling.any():
            return True
        near = np.abs(change - share) <= np.maximum(2.5 * spread, 0.4 * abs(share))
        return bool(near[telling].mean() >= 0.8)

    def _on_lid(self, column: int, first: int, last: int, share: float) -> bool | None:
        """Whether the lid within the run shows the same; None where it cannot tell."""
        change, spread = self._change[first:last, column], self._spread[first:last, column]
        telling = self._lid[first:last] & (self._weight[first:last, column] > 0) & (spread < abs(share) / 3)
        if not telling.any():
            return None
        weight = 1.0 / spread[telling] ** 2
        seen = float(np.sum(weight * change[telling]) / weight.sum())
        return abs(seen - share) <= max(0.4 * abs(share), 3.0 / float(np.sqrt(weight.sum())))

    def _shape(self, column: int, first: int, last: int, share: float) -> tuple[float, float] | None:
        """Centre and width (px), from the columns around that show at least half of it."""
        left, right = max(0, column - 6), min(self._width, column + 7)
        profile = np.median(self._wide[first:last, left:right], axis=0) / share
        at = column - left
        low = high = at
        while low > 0 and profile[low - 1] > 0.5:
            low -= 1
        while high < len(profile) - 1 and profile[high + 1] > 0.5:
            high += 1
        part = np.clip(profile[low : high + 1], 0.05, 1.5)
        width = float(high - low + 1)
        if width > WIDEST_PX:
            return None
        return float(left + low + np.sum(part * np.arange(len(part))) / part.sum()), width

    def _is_step(self, column: int, first: int, last: int, share: float) -> bool:
        """An edge, not a line: the tones left and right differ by more than the line stands out."""
        tone = np.mean(self._tone[first:last], axis=0)
        left, right = tone[max(0, column - 5)], tone[min(self._width - 1, column + 5)]
        return bool(abs(right - left) > 1.5 * abs(share) * (left + right) / 2 + 0.002)

    def _has_its_like(self, column: int, strength: npt.NDArray[np.float64], z: npt.NDArray[np.float64]) -> bool:
        """A weave, laid paper or a ruled sheet: several lines nearby stand out half as much or more."""
        left, right = max(0, column - ALIKE_WITHIN_PX), min(self._width, column + ALIKE_WITHIN_PX + 1)
        size = np.abs(z[left:right]).copy()
        at = column - left
        size[max(0, at - APART_PX) : at + APART_PX + 1] = 0.0
        peaks = (size[1:-1] > size[:-2]) & (size[1:-1] >= size[2:]) & (size[1:-1] > 0.5 * abs(z[column]))
        return int(peaks.sum()) > ALIKE_MOST


def _block_spread(values: Profile, block: int) -> npt.NDArray[np.float64]:
    """Robust standard deviation of each row over blocks of columns, spread out to every column."""
    rows, columns = values.shape
    blocks = max(1, round(columns / block))
    edges = np.linspace(0, columns, blocks + 1).astype(int)
    spread = np.empty((rows, columns), np.float64)
    for left, right in pairwise(edges):
        part = values[:, left:right]
        middle = np.median(part, axis=1, keepdims=True)
        deviation = 1.4826 * np.median(np.abs(part - middle), axis=1)
        spread[:, left:right] = np.maximum(deviation, LEAST_SPREAD)[:, None]
    return spread
