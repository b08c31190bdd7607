"""Contact sheets: the night's works small and at true relative size, hung from lines, each with its label. A work that
would be too small to know is drawn larger, in a dashed frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from .proof import Rgb

WIDTH, HEIGHT = 2000, 1414  # A4 landscape at about 170 a side's inch
MARGIN, HEAD, FOOT = 50, 84, 40
LABEL, DROP, ROW_GAP = 104, 16, 18  # below a work its label, above it the tick it hangs from
LEAST_PX = 80  # the long side of a work that can still be known
BLANK, PAPER, INK, SOFT = (226, 222, 212), (250, 248, 242), (32, 32, 32), (96, 96, 96)
FONT = cv2.FONT_HERSHEY_SIMPLEX
GRIDS = ((3, 1), (6, 2), (12, 3), (24, 4))  # up to so many works a sheet, in so many rows


@dataclass(frozen=True, eq=False)
class ContactWork:
    """One work: its picture (None: nothing is known of its looks), true size, shape and words of its pile, what to
    know, its size in words."""

    picture: Rgb | None
    width_mm: float
    height_mm: float
    shape: str
    number: str
    pile: str
    thing: str
    size: str


@dataclass(frozen=True, slots=True)
class _Grid:
    columns: int
    rows: int

    @property
    def cell(self) -> tuple[int, int]:
        """Width and height of the place for one picture."""
        width = (WIDTH - 2 * MARGIN) // self.columns
        height = (HEIGHT - HEAD - FOOT) // self.rows - DROP - LABEL - ROW_GAP
        return width - 24, height


def contact_sheets(works: Sequence[ContactWork], title: str) -> list[Rgb]:
    """The works in their order on as many sheets as they need, all at one scale; one sheet that says so for none."""
    grid = _grid(len(works))
    each = grid.columns * grid.rows
    batches = [works[i : i + each] for i in range(0, len(works), each)] or [[]]
    scale = _scale(works, grid)
    return [_sheet(batch, grid, scale, title, f"sheet {number} of {len(batches)}" if len(batches) > 1 else "")
            for number, batch in enumerate(batches, 1)]  # fmt: skip


def _grid(count: int) -> _Grid:
    most, rows = next((one for one in GRIDS if count <= one[0]), GRIDS[-1])
    return _Grid(most // rows, rows)


def _scale(works: Sequence[ContactWork], grid: _Grid) -> float:
    """Pixels a millimetre: the largest work just fits its place."""
    width, height = grid.cell
    return min((min(width / work.width_mm, height / work.height_mm) for work in works), default=1.0)


def _sheet(works: Sequence[ContactWork], grid: _Grid, scale: float, title: str, number: str) -> Rgb:
    rows = [works[i : i + grid.columns] for i in range(0, len(works), grid.columns)]
    heights = [max(_drawn(work, scale, grid.cell).height for work in row) + DROP + LABEL + ROW_GAP for row in rows]
    page = np.empty((HEAD + sum(heights) + FOOT, WIDTH, 3), np.uint8)
    page[:] = PAPER
    _write(page, title, MARGIN, 50, 0.95, 2, WIDTH - 2 * MARGIN - 220)
    if number:
        _write(page, number, WIDTH - MARGIN - 190, 50, 0.7, 1, 190)
    y, larger = HEAD, False
    for row, height in zip(rows, heights, strict=True):
        cv2.line(page, (MARGIN, y), (WIDTH - MARGIN, y), INK, 3)
        for column, work in enumerate(row):
            drawn = _drawn(work, scale, grid.cell)
            larger |= drawn.larger
            _hang(page, work, drawn, MARGIN + column * (grid.cell[0] + 24), y, grid.cell[0])
        y += height
    _foot(page, scale, larger)
    return page


@dataclass(frozen=True, slots=True)
class _Drawn:
    width: int
    height: int
    larger: bool


def _drawn(work: ContactWork, scale: float, cell: tuple[int, int]) -> _Drawn:
    """The work's size in pixels, and whether it had to be drawn larger than the others."""
    own = max(scale, LEAST_PX / max(work.width_mm, work.height_mm))
    width, height = (int(np.clip(round(mm * own), 4, most)) for mm, most in
                     zip((work.width_mm, work.height_mm), cell, strict=True))  # fmt: skip
    return _Drawn(width, height, own > scale)


def _hang(page: Rgb, work: ContactWork, drawn: _Drawn, x: int, y: int, width: int) -> None:
    """Draw one work from its line down, its label below."""
    top = y + DROP
    cv2.line(page, (x + 8, y), (x + 8, top), INK, 2)
    piece = page[top : top + drawn.height, x : x + drawn.width]
    if work.picture is None:
        piece[:] = BLANK
    else:
        piece[:] = cv2.resize(work.picture, (drawn.width, drawn.height), interpolation=cv2.INTER_AREA)
    _frame(page, x, top, drawn.width, drawn.height, dashed=drawn.larger)
    _label(page, work, x, top + drawn.height + 24, width)


def _label(page: Rgb, work: ContactWork, x: int, y: int, width: int) -> None:
    _shape(page, work.shape, x, y)
    _write(page, work.number, x + 24, y, 0.66, 2, width - 24)
    _write(page, work.pile, x, y + 25, 0.54, 1, width)
    _write(page, work.thing, x, y + 48, 0.54, 1, width)
    _write(page, work.size, x, y + 70, 0.48, 1, width, SOFT)


def _shape(page: Rgb, shape: str, x: int, y: int) -> None:
    if shape in {"■", "□"}:
        cv2.rectangle(page, (x + 1, y - 14), (x + 15, y), INK, -1 if shape == "■" else 2)
    else:
        cv2.putText(page, shape, (x, y), FONT, 0.75, INK, 2, cv2.LINE_AA)


def _frame(page: Rgb, x: int, y: int, width: int, height: int, dashed: bool) -> None:
    if not dashed:
        cv2.rectangle(page, (x, y), (x + width - 1, y + height - 1), INK, 1)
        return
    for at in range(0, width, 8):
        for row in (y, y + height - 1):
            cv2.line(page, (x + at, row), (x + min(at + 4, width - 1), row), INK, 1)
    for at in range(0, height, 8):
        for column in (x, x + width - 1):
            cv2.line(page, (column, y + at), (column, y + min(at + 4, height - 1)), INK, 1)


def _foot(page: Rgb, scale: float, larger: bool) -> None:
    """What the scale is, as a length to lay a ruler on."""
    mm = next((one for one in (1000, 500, 200, 100, 50, 20, 10) if one * scale <= 240), 5)
    y, right = page.shape[0] - 18, MARGIN + round(mm * scale)
    cv2.line(page, (MARGIN, y - 5), (right, y - 5), INK, 2)
    for x in (MARGIN, right):
        cv2.line(page, (x, y - 11), (x, y + 1), INK, 2)
    words = f"{mm} mm, all works at this scale" + ("; in a dashed frame: drawn larger" if larger else "")
    _write(page, words, right + 12, y, 0.54, 1, WIDTH - right - 60)


def _write(page: Rgb, text: str, x: int, y: int, size: float, thick: int, width: int,
           ink: tuple[int, int, int] = INK) -> None:  # fmt: skip
    """One line, cut with dots where it would be wider than `width`."""
    line = text.encode("ascii", "replace").decode()
    if _wide(line, size, thick) > width:
        while line and _wide(f"{line}...", size, thick) > width:
            line = line[:-1]
        line = f"{line.rstrip()}..."
    cv2.putText(page, line, (x, y), FONT, size, ink, thick, cv2.LINE_AA)


def _wide(line: str, size: float, thick: int) -> int:
    return int(cv2.getTextSize(line, FONT, size, thick)[0][0])
