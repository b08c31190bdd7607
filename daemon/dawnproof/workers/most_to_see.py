"""Where along a stitch its doubling is best seen: the largest value may lie in an empty sky, where two views of nothing
look like one. Of the rows that are displaced by half as much or more, those where the picture itself, displaced by so
much, would differ most from what it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from ..assemble.proof import to_srgb
from ..model import Box, Where
from ..storage.tiff import Scan

Shows = Callable[[Box, float], float]  # how far the picture in a box differs from itself displaced by so many px

LOOKS = 8  # places along one stitch that are read again
HALF = 0.5  # of the largest displacement: what is shown instead must still be of its kind
CLEARLY = 1.25  # as much to see: for less the largest displacement is not left
BESIDE = 2  # displacements on either side of the stitch: where what appears twice lies, and a little more
LEAST_PX = 2.0


@dataclass(frozen=True, slots=True)
class Shown:
    """Rows to be shown: their middle, and the displacement found there (px, None where it is the largest)."""

    row: int
    px: float | None = None


def rows_to_show(where: Where, box: Box, rows: int, px_mm: float, shows: Shows) -> Shown:
    """Of a stitch longer than `rows`, with `where` as `box` in px, the place where most is to be seen. `px_mm`: px a mm
    along the travel."""
    found = [(round(s.y_mm * px_mm), abs(s.px)) for s in where.profile or () if s.px]
    found = [(row, px) for row, px in found if box.y <= row <= box.bottom]
    if not found:  # alike all along, or nothing told row by row
        places = np.linspace(box.y + rows / 2, box.bottom - rows / 2, min(LOOKS, -(-box.height // rows)))
        return Shown(max((round(p) for p in places), key=lambda row: shows(_around(box, row, rows), LEAST_PX)))
    at, largest = max(found, key=lambda one: one[1])
    tried = _spread([one for one in found if one[1] >= HALF * largest])
    row, px = max(tried, key=lambda one: shows(_around(box, one[0], rows), one[1]))
    if shows(_around(box, row, rows), px) < CLEARLY * shows(_around(box, at, rows), largest):
        row = at
    shown = _around(box, row, rows)
    return Shown(shown.y + shown.height // 2, None if shown.y <= at <= shown.bottom else px)


def _spread(found: Sequence[tuple[int, float]]) -> list[tuple[int, float]]:
    """A few of many, as far apart as can be."""
    return [found[round(i)] for i in np.linspace(0, len(found) - 1, min(LOOKS, len(found)))]


def _around(box: Box, row: int, rows: int) -> Box:
    top = min(max(row - rows // 2, box.y), max(box.bottom - rows, box.y))
    return Box(box.x, top, box.width, min(rows, box.bottom - top))


def structure_of(scan: Scan) -> Shows:
    """Reads the picture around a box, a little to either side; every box once."""
    known: dict[tuple[Box, int], float] = {}

    def shows(box: Box, px: float) -> float:
        lag = max(round(px), round(LEAST_PX))
        if (box, lag) not in known:
            reach = BESIDE * lag + 12
            left = max(0, box.x + box.width // 2 - reach)
            right = min(scan.facts.width_px, box.x + box.width // 2 + reach)
            top, bottom = max(0, box.y), min(scan.facts.height_px, box.bottom)
            known[box, lag] = _differs(scan, Box(left, top, right - left, bottom - top), lag)
        return known[box, lag]

    return shows


def _differs(scan: Scan, box: Box, lag: int) -> float:
    if box.width <= lag or box.height < 1:
        return 0.0
    view = to_srgb(scan.region(box.x, box.y, box.width, box.height), scan.facts.icc).astype(np.float32)
    view = np.asarray(cv2.GaussianBlur(view, (0, 0), 1.2))  # grain is everywhere, and shows nothing
    apart = view[:, lag:] - view[:, :-lag]
    return float(np.sqrt(np.mean(apart * apart)))
