"""Where a work shows a line of constant share: the edges of all its columns, held against what a line leaves there.

What a work shows from column to column is alike from one column to the next, and known from the work itself. The shape
that a line leaves in the sharpened edges is looked for with that likeness taken out (the matched filter for coloured
noise, Turin 1960), and the place is held against the strongest others of the same work.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .streak_edges import GAIN, SHARPEN, EdgeSums
from .streak_filter import block_spread

Values = npt.NDArray[np.float64]

WIDE_BLOCK = 512  # columns over which the usual size is taken
LEAST_Z = 4.0
OTHER_STREAKS = 3
APART_PX = 7
FEATURE_PX = 11  # a joint or bar answers with several lines within this
NEAREST, FARTHEST = 7, 24  # columns from which a column's difference is foretold
CALM = 4.0  # times the usual spread: a few strong lines must not make the prediction
LOADING = 0.02
BESIDE = 7  # columns beside the line that are looked at with it
WHITE = 0.03  # share of the power taken as unlike from column to column
MOST_LOOKED_AT = 20  # of one run


@dataclass(frozen=True, slots=True)
class LoneLine:
    """A line of `width_px` columns from `column` on, `share` signed, in stretches `first` to `last`; `z` against the
    usual spread of columns, `ratio` against the image's own strongest lines; `doubt`: what one edge is usually off."""

    column: int
    width_px: int
    share: float
    first: int
    last: int
    z: float
    ratio: float
    doubt: float

    @property
    def centre(self) -> float:
        return self.column + (self.width_px - 1) / 2


class Run:
    """The sums over some of the stretches."""

    def __init__(self, sums: EdgeSums, first: int, last: int) -> None:
        self._first, self._last = first, last
        self._weight = np.maximum(sums.weight[first:last].sum(axis=0), 1e-9)
        root = np.sqrt(self._weight)
        z = sums.sharp[first:last].sum(axis=0) / root
        usual = _usual(z)
        z -= _foretold(z / usual) * usual
        self._edge = z / root
        usual = _usual(z)
        self._doubt = usual / root
        self._z = z / usual
        self._likeness = _likeness(self._z)

    def candidates(self) -> Iterator[LoneLine]:
        """The strongest lines, each of another place."""
        matched = {width: self._matched(width) for width in GAIN}
        places = sorted(_peaks(matched), reverse=True)
        apart: list[tuple[float, int, int]] = []
        for size, at, width in places:
            if all(abs(at + width / 2 - other_at - other / 2) > APART_PX for _, other_at, other in apart):
                apart.append((size, at, width))
            if len(apart) == MOST_LOOKED_AT:
                break
        for k, (size, at, width) in enumerate(apart):
            if size < LEAST_Z:
                break
            others = _once_each(apart[:k] + apart[k + 1 :])
            usual = others[OTHER_STREAKS - 1] if len(others) >= OTHER_STREAKS else 1.0
            yield self._line(at, width, size, size / max(usual, 1.0))

    def _line(self, at: int, width: int, size: float, ratio: float) -> LoneLine:
        left, right = self._weight[at], self._weight[at + width]
        share = (self._edge[at] * left - self._edge[at + width] * right) / (left + right) / GAIN[width]
        doubt = max(self._doubt[at], self._doubt[at + width]) / GAIN[width]
        return LoneLine(at + 1, width, float(share), self._first, self._last, size, ratio, float(doubt))

    def _matched(self, width: int) -> Values:
        """How strongly each difference and the one `width` after it are the edges of a line, in usual sizes."""
        shape = line_shape(width)
        tap = self._whitened(shape)
        found = np.correlate(np.pad(self._z, (BESIDE, BESIDE + width)), tap / np.sqrt(shape @ tap), "valid")
        return found[: len(self._z) - width] / _usual(found)[: len(self._z) - width]

    def _whitened(self, shape: Values) -> Values:
        """The shape with the likeness of columns divided out."""
        place = np.arange(len(shape))
        return np.asarray(np.linalg.solve(self._likeness[np.abs(place[:, None] - place)], shape))

    def explained(self, line: LoneLine, shapes: list[Values]) -> tuple[float, list[float]]:
        """How much there is to see around the line, and how much of it each shape explains. Shapes: the differences
        from BESIDE before the line's left edge to BESIDE behind its right one."""
        places = np.arange(line.column - 1 - BESIDE, line.column + line.width_px + BESIDE)
        inside = (places >= 0) & (places < len(self._z))
        seen = np.where(inside, self._z[np.clip(places, 0, len(self._z) - 1)], 0.0)
        taps = [self._whitened(shape) for shape in shapes]
        each = [float(tap @ seen) ** 2 / float(tap @ shape) for tap, shape in zip(taps, shapes, strict=True)]
        return float(self._whitened(seen) @ seen), each


def edge_shape(width_px: int, at: int) -> Values:
    """What an edge `at` columns behind a line's left one leaves, over all that is looked at with a line so wide."""
    shape = np.zeros(2 * BESIDE + width_px + 1)
    shape[BESIDE + at - 1 : BESIDE + at + 2] = SHARPEN[0]
    return shape


def line_shape(width_px: int) -> Values:
    """The same for the line itself: up at its left edge and down at its right one."""
    return edge_shape(width_px, 0) - edge_shape(width_px, width_px)


def _peaks(matched: dict[int, Values]) -> Iterator[tuple[float, int, int]]:
    for width, values in matched.items():
        size = np.abs(values)
        padded = np.pad(size, 1)
        peaks = np.flatnonzero((size > padded[:-2]) & (size >= padded[2:]))
        for at in peaks[np.argsort(-size[peaks])][: 4 * MOST_LOOKED_AT]:
            yield float(size[at]), int(at), width


def _once_each(strongest_first: list[tuple[float, int, int]]) -> list[float]:
    """Sizes of lines, of those close together only the strongest: one feature of the work is one of its lines."""
    kept: list[tuple[float, int]] = []
    for size, at, _ in strongest_first:
        if all(abs(at - other) > FEATURE_PX for _, other in kept):
            kept.append((size, at))
    return [size for size, _ in kept]


def _usual(values: Values) -> Values:
    return np.asarray(np.maximum(block_spread(values[None].astype(np.float32), WIDE_BLOCK)[0], 1e-9), np.float64)


def _likeness(z: Values) -> Values:
    """How alike columns are, by their distance; 1 for the column itself."""
    calm = np.clip(z, -CALM, CALM)
    reach = 2 * BESIDE + max(GAIN) + 1
    like = np.array([calm[: len(calm) - k] @ calm[k:] for k in range(reach)])
    like /= max(float(like[0]), 1e-9)
    like[0] += WHITE
    return like


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
