"""Clipped tones of the work: pixels at the end of the type, or in a flat spike at the image's own extreme.

The extreme of each channel is followed while the bands go by; pixels at a lower one than the newest are forgotten.
Counts are kept by block and cut by the outline afterwards, so they are exact inside it and memory is bounded.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar

import cv2
import numpy as np
import numpy.typing as npt

from ..model import Frame, Reading
from .band import Band, Pixels
from .blocks import BlockCounts
from .clipped_regions import Region, largest_region
from .outline import Outline
from .overview import block_size

_CHANNELS = ("red", "green", "blue")
_HISTOGRAM_EVERY = 16  # rows; the counts themselves are of all rows
_SPIKE = 4.0  # times the fullest single level beside the extreme
_SPIKE_WINDOW = 1 / 64  # of the type's range
_LEAST_SPIKE_PX = 64
_LEAST_LEVELS = 32  # flat colours without noise are all spikes
_FLANK_PX = 3
_STRIP_ROWS = 32
_NEAR_EXTREME = 0.08  # of the type's range: flanks within it are no steep ones


class End:
    """The pixels at one end (high or low) of the scan's values, by channel."""

    def __init__(self, frame: Frame, high: bool) -> None:
        self.high = high
        self._top = 2**frame.depth_bits - 1
        self.type_end = self._top if high else 0
        self.extremes = np.full(frame.channels, -1 if high else self._top + 1, np.int64)
        size = (frame.width_px, frame.height_px, block_size(frame))
        self.channels = BlockCounts(*size, channels=frame.channels)
        self.every = BlockCounts(*size)
        self.flanks = BlockCounts(*size)
        self.flat_flanks = BlockCounts(*size)

    @property
    def counts(self) -> tuple[BlockCounts, ...]:
        return (self.channels, self.every, self.flanks, self.flat_flanks)

    def see(self, band: Band) -> None:
        for first in range(0, band.rows, _STRIP_ROWS):
            strip = band.pixels[first : first + _STRIP_ROWS]
            if not self._reached(strip):
                continue
            found = self._extremes_of(strip)
            further = found > self.extremes if self.high else found < self.extremes
            for channel in np.flatnonzero(further):
                self.extremes[channel] = found[channel]
                self.channels.clear(int(channel))
            if further.any():
                for counts in (self.every, self.flanks, self.flat_flanks):
                    counts.clear()
            if (found == self.extremes).any():
                self._mark(band.first_row + first, strip, band.grey[first : first + _STRIP_ROWS])

    def _reached(self, strip: Pixels) -> bool:
        """Whether any value is as far out as the least of the channels' extremes: quickly told, and seldom so."""
        return bool(strip.max() >= self.extremes.min() if self.high else strip.min() <= self.extremes.max())

    def _extremes_of(self, strip: Pixels) -> npt.NDArray[np.int64]:
        """Highest or lowest value of each channel."""
        line = strip.reshape(len(strip), -1)
        by_column = line.max(axis=0) if self.high else line.min(axis=0)
        channels = [by_column[channel :: strip.shape[2]] for channel in range(strip.shape[2])]
        return np.array([values.max() if self.high else values.min() for values in channels], np.int64)

    def _mark(self, first_row: int, pixels: Pixels, grey: Pixels) -> None:
        marks = _marks(pixels, self.extremes)
        self.channels.add(first_row, marks)
        every = marks[:, :, 0]
        if marks.shape[2] == 3:
            red, green, blue = cv2.split(marks)
            every = np.asarray(cv2.bitwise_and(cv2.bitwise_and(red, green), blue))
        if cv2.countNonZero(every) == 0:
            return
        self.every.add(first_row, every)
        self._mark_flanks(first_row, every, grey)

    def _mark_flanks(self, first_row: int, every: npt.NDArray[Any], grey: Pixels) -> None:
        """Pixels just outside the clipped ones, and those of them that are nearly as bright (or dark)."""
        wide = np.ones((2 * _FLANK_PX + 1,) * 2, np.uint8)
        around = np.asarray(cv2.dilate(every, wide)) - np.asarray(cv2.dilate(every, np.ones((3, 3), np.uint8)))
        if not cv2.countNonZero(around):
            return
        level = float(np.mean(self.extremes))
        slack = _NEAR_EXTREME * self._top
        near = cv2.inRange(grey, level - slack, self._top) if self.high else cv2.inRange(grey, 0, level + slack)
        self.flanks.add(first_row, around)
        self.flat_flanks.add(first_row, np.asarray(cv2.bitwise_and(around, np.asarray(near))))


def _marks(pixels: Pixels, values: npt.NDArray[np.int64]) -> npt.NDArray[np.uint8]:
    """255 where a channel has its value, else 0, (rows, columns, channels)."""
    if len(set(values.tolist())) == 1:
        flat = cv2.inRange(pixels.reshape(len(pixels), -1), int(values[0]), int(values[0]))
        return np.asarray(flat, np.uint8).reshape(pixels.shape)
    layers = [
        cv2.inRange(layer, int(value), int(value)) for layer, value in zip(cv2.split(pixels), values, strict=True)
    ]
    return np.asarray(cv2.merge(layers), np.uint8).reshape(pixels.shape)


class ClippingCheck:
    """Shares of clipped pixels by channel and end, and the largest region where every channel is lost."""

    name: ClassVar[str] = "clipping"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._ends = (End(frame, high=True), End(frame, high=False))
        self._levels = 2**frame.depth_bits
        self._histogram = np.zeros((frame.channels, self._levels), np.int64)

    def see(self, band: Band) -> None:
        for end in self._ends:
            end.see(band)
        sample = band.pixels[-band.first_row % _HISTOGRAM_EVERY :: _HISTOGRAM_EVERY]
        for channel, histogram in enumerate(self._histogram):
            histogram += np.bincount(sample[:, :, channel].ravel(), minlength=self._levels)

    def readings(self, outline: Outline) -> Iterable[Reading]:
        rows = outline.spans_of(0, self._frame.height_px)
        work_px = int((rows[:, 1] - rows[:, 0]).sum())
        if work_px == 0:
            yield from self._untaken("no pixel lies inside the work's outline")
            return
        for end in self._ends:
            for channel, name in enumerate(_CHANNELS):
                yield self._share(end, min(channel, self._frame.channels - 1), name, outline, work_px)
        yield self._region(outline)

    @property
    def kept_bytes(self) -> int:
        """Memory held for the counts, in bytes."""
        return sum(counts.kept_bytes for end in self._ends for counts in end.counts)

    def _untaken(self, why: str) -> Iterable[Reading]:
        for side in ("high", "low"):
            for name in _CHANNELS:
                yield Reading("clipping", f"{side}_{name}", None, "%", sure=0.0, why=why)
        yield Reading("clipping", "region", None, "mm2", sure=0.0, why=why)

    def _share(self, end: End, channel: int, name: str, outline: Outline, work_px: int) -> Reading:
        clipped = 0
        if self._is_clipped(end, channel):
            clipped = int(end.channels.inside(outline, channel).sum())
        at = "" if end.extremes[channel] == end.type_end else f"flat spike at {int(end.extremes[channel])}"
        grey = "grey scan: the one channel's value" if self._frame.channels == 1 else ""
        why = "; ".join(part for part in (at if clipped else "", grey) if part)
        side = "high" if end.high else "low"
        percent = round(100 * clipped / work_px, 4)
        return Reading("clipping", f"{side}_{name}", percent, "%", outline.sure, why=why, certain=False)

    def _is_clipped(self, end: End, channel: int) -> bool:
        """At the type's end, or far more pixels at the extreme than at any level beside it."""
        extreme = int(end.extremes[channel])
        if extreme == end.type_end:
            return True
        width = max(3, int(_SPIKE_WINDOW * self._levels))
        histogram = self._histogram[channel]
        if np.count_nonzero(histogram) < _LEAST_LEVELS:
            return False
        beside = histogram[max(0, extreme - width) : extreme] if end.high else histogram[extreme + 1 :][:width]
        at = end.channels.total(channel) / _HISTOGRAM_EVERY
        fullest = float(beside.max()) if len(beside) else 0.0
        return at * _HISTOGRAM_EVERY >= _LEAST_SPIKE_PX and at >= _SPIKE * max(fullest, 1.0)

    def _region(self, outline: Outline) -> Reading:
        mm2 = self._frame.mm_x(1) * self._frame.mm_y(1)
        best: tuple[float, Region, End] | None = None
        glints = 0
        for end in self._ends:
            if not all(self._is_clipped(end, channel) for channel in range(self._frame.channels)):
                continue
            region, apart = largest_region(
                end.every.inside(outline),
                end.flanks.inside(outline),
                end.flat_flanks.inside(outline),
                end.every.block,
                mm2,
            )
            glints += apart
            if region is not None and (best is None or region.pixels * mm2 > best[0]):
                best = (region.pixels * mm2, region, end)
        aside = f"{glints} small glints left out" if glints > 1 else "1 small glint left out" if glints else ""
        if best is None:
            return Reading("clipping", "region", 0.0, "mm2", outline.sure, why=aside)
        area, region, end = best
        box = region.box
        where = self._frame.where(box.x, box.y, box.width, box.height)
        why = "; ".join(part for part in ("white" if end.high else "black", aside) if part)
        return Reading("clipping", "region", round(area, 3), "mm2", outline.sure, where, why, certain=region.certain)


CHECK = ClippingCheck
