"""The newest judged scan as it lay on its bed, drawn with characters: outline, stitch, faults at their place in mm."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text

from ..model import Bed, Finding, Level, Night, Where, shown
from .drawing import Rect, frame_mm, work_mm
from .figures import clock
from .screen import STRONG, line
from .verdict import last_verdict, scan_words

ASPECT = 2.0  # a character is about twice as high as wide
LEAST_ROWS = 6


def last_on_bed(night: Night, columns: int, rows: int) -> tuple[Text, ...]:
    """The newest measured scan within `columns` x `rows`; nothing where there is none or no room."""
    verdict = last_verdict(night, judged=True)
    scan = verdict.scan if verdict else None
    if scan is None or scan.measured is None or rows < LEAST_ROWS + 2:
        return ()
    bed = next((b for b in night.beds if b.name == scan.bed), None)
    width, height = frame_mm(scan.measured)
    mm = max(width / max(columns - 12, 1), height / ASPECT / (rows - 3))
    sheet = _Sheet(round(width / mm), round(height / mm / ASPECT), mm)
    if bed is not None:
        sheet.stitches(bed, width)
    sheet.outline(work_mm(scan.measured))
    marked = [f for f in scan.findings if f.where and f.level in {Level.FAULT, Level.NOTE}]
    for finding in marked:
        sheet.mark(finding)
    title = line((scan_words(scan), STRONG), f"  {width:.0f} x {height:.0f} mm on {shown(scan.bed)}, "
                 f"{clock(scan.admitted_utc, night.offset_s)}")  # fmt: skip
    return (title, *sheet.rows())


class _Sheet:
    """A grid of characters, `mm` millimetres a column."""

    def __init__(self, columns: int, rows: int, mm: float) -> None:
        self._columns, self._rows, self._mm = max(columns, 4), max(rows, 3), mm
        self._cells = [[" "] * self._columns for _ in range(self._rows)]

    def stitches(self, bed: Bed, width_mm: float) -> None:
        """The stitch, where the scan is as wide as the bed: only then its place is known."""
        if abs(width_mm - bed.width_mm) < 5:
            for seam in bed.seams_mm:
                for row in self._cells:
                    row[self._column(seam)] = "┊"

    def outline(self, work: Rect) -> None:
        left, right = self._column(work.x), self._column(work.x + work.width)
        top, bottom = self._row(work.y), self._row(work.y + work.height)
        for column in range(left, right + 1):
            self._cells[top][column] = self._cells[bottom][column] = "─"
        for row in range(top, bottom + 1):
            self._cells[row][left] = self._cells[row][right] = "│"
        for row, column, corner in ((top, left, "┌"), (top, right, "┐"), (bottom, left, "└"), (bottom, right, "┘")):
            self._cells[row][column] = corner

    def mark(self, finding: Finding) -> None:
        """x for a fault, - for a note, over the place it covers."""
        where: Where | None = finding.where
        if where is None:
            return
        shape = "x" if finding.level is Level.FAULT else "-"
        for row in range(self._row(where.y_mm), self._row(where.y_mm + where.height_mm) + 1):
            for column in range(self._column(where.x_mm), self._column(where.x_mm + where.width_mm) + 1):
                self._cells[row][column] = shape

    def rows(self) -> Sequence[Text]:
        """The frame with a rule in mm at its left, every third row."""
        out = [line(f"{'mm':>5} ╔{'═' * self._columns}╗")]
        for number, cells in enumerate(self._cells):
            figure = f"{number * self._mm * ASPECT:5.0f}" if number % 3 == 0 else " " * 5
            out.append(line(f"{figure} ║{''.join(cells)}║"))
        return [*out, line(f"{'':5} ╚{'═' * self._columns}╝")]

    def _column(self, x_mm: float) -> int:
        return min(max(int(x_mm / self._mm), 0), self._columns - 1)

    def _row(self, y_mm: float) -> int:
        return min(max(int(y_mm / self._mm / ASPECT), 0), self._rows - 1)
