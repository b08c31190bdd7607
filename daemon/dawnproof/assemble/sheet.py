"""Pictures on one sheet, each with its label and a scale in mm; corner ticks mark a place and cover nothing of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from ..model import Box
from .proof import Rgb

PAPER = (245, 243, 240)
LABEL_PAPER = (255, 255, 255)
INK = (40, 40, 40)
FONT, SIZE = cv2.FONT_HERSHEY_SIMPLEX, 0.5
LINE_ROWS, LABEL_MARGIN, GAP = 19, 6, 12
LEAST_LABEL_PX = 260
SCALES_MM = (1, 2, 5, 10, 20, 50, 100, 200, 500)


@dataclass(frozen=True, eq=False)
class CloseUp:
    """One picture: what it shows in one or more lines, the marked places in it, and mm a pixel (None: no scale)."""

    lines: tuple[str, ...]
    picture: Rgb
    marks: tuple[Box, ...] = ()
    mm_px: float | None = None


def sheet(close_ups: Sequence[CloseUp], columns: int = 2, words: str = "") -> Rgb:
    """All pictures on one sheet, row by row, each below its label; `words` stand at the foot."""
    tiles = [_tile(one) for one in close_ups] or [_label(("nothing to show",), 400, None)]
    width = max(tile.shape[1] for tile in tiles)
    rows = [tiles[i : i + columns] for i in range(0, len(tiles), columns)]
    heights = [max(tile.shape[0] for tile in row) for row in rows]
    total = (width + GAP) * min(columns, len(tiles)) + GAP
    foot = _lines(words, total - 2 * GAP) if words else []
    page = np.empty((sum(heights) + GAP * (len(rows) + 1) + LINE_ROWS * len(foot), total, 3), np.uint8)
    page[:] = PAPER
    y = GAP
    for row, height in zip(rows, heights, strict=True):
        for i, tile in enumerate(row):
            x = GAP + i * (width + GAP)
            page[y : y + tile.shape[0], x : x + tile.shape[1]] = tile
        y += height + GAP
    for number, line in enumerate(foot):
        _write(page, line, GAP, y - GAP + LINE_ROWS * (number + 1))
    return page


def _tile(one: CloseUp) -> Rgb:
    picture = one.picture
    for place in one.marks:
        picture = _marked(picture, place)
    label = _label(one.lines, max(picture.shape[1], LEAST_LABEL_PX), one.mm_px)
    out = np.empty((label.shape[0] + picture.shape[0], label.shape[1], 3), np.uint8)
    out[:] = PAPER
    out[: label.shape[0]] = label
    out[label.shape[0] :, : picture.shape[1]] = picture
    return out


def _label(lines: Sequence[str], width: int, mm_px: float | None) -> Rgb:
    """The lines, and at the right of the last one a scale."""
    scale = _scale(width, mm_px) if mm_px else None
    taken = scale.width + 60 if scale else 0
    wrapped = [part for line in lines[:-1] for part in _lines(line, width - 2 * LABEL_MARGIN)]
    wrapped += _lines(lines[-1], width - 2 * LABEL_MARGIN - taken) if lines else []
    label = np.empty((LINE_ROWS * max(len(wrapped), 1) + 2 * LABEL_MARGIN, width, 3), np.uint8)
    label[:] = LABEL_PAPER
    for number, line in enumerate(wrapped):
        _write(label, line, LABEL_MARGIN, LABEL_MARGIN - 4 + LINE_ROWS * (number + 1))
    if scale:
        right, y = width - LABEL_MARGIN - 52, label.shape[0] - LABEL_MARGIN - 6
        left = right - scale.width
        cv2.line(label, (left, y), (right, y), INK, 1)
        for x in (left, right):
            cv2.line(label, (x, y - 4), (x, y + 4), INK, 1)
        _write(label, f"{scale.mm} mm", right + 6, y + 4)
    return label


@dataclass(frozen=True, slots=True)
class _Scale:
    mm: int
    width: int


def _scale(width: int, mm_px: float) -> _Scale | None:
    """The longest round length that takes at most a third of the width."""
    fitting = [mm for mm in SCALES_MM if 8 <= mm / mm_px <= width / 3]
    return _Scale(fitting[-1], round(fitting[-1] / mm_px)) if fitting else None


def _lines(text: str, width: int) -> list[str]:
    """The text in lines of at most `width` pixels; a longer word keeps its line and is cut by the edge."""
    lines = [""]
    for word in text.encode("ascii", "replace").decode().split():
        trial = f"{lines[-1]} {word}".strip()
        if lines[-1] and cv2.getTextSize(trial, FONT, SIZE, 1)[0][0] > width:
            lines.append(word)
        else:
            lines[-1] = trial
    return lines


def _write(picture: Rgb, text: str, x: int, y: int) -> None:
    cv2.putText(picture, text.encode("ascii", "replace").decode(), (x, y), FONT, SIZE, INK, 1, cv2.LINE_AA)


def _marked(picture: Rgb, place: Box) -> Rgb:
    """Corner ticks around the place, dark on light: the place itself stays uncovered."""
    out = picture.copy()
    left, top = max(place.x - 4, 1), max(place.y - 4, 1)
    right, bottom = min(place.right + 4, picture.shape[1] - 2), min(place.bottom + 4, picture.shape[0] - 2)
    tick = max(8, min(right - left, bottom - top) // 5)
    for cx, sx in ((left, 1), (right, -1)):
        for cy, sy in ((top, 1), (bottom, -1)):
            for colour, thick in (((255, 255, 255), 4), ((20, 20, 20), 2)):
                cv2.line(out, (cx, cy), (cx + sx * tick, cy), colour, thick)
                cv2.line(out, (cx, cy), (cx, cy + sy * tick), colour, thick)
    return out
