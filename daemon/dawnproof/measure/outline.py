"""Where the work lies on a scan, as the other checks and the crop use it.

Places are edge coordinates of the unrotated scan: pixel i covers i to i + 1, x right, y down.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ..model import Box, Sides

Point = tuple[float, float]
NOWHERE = Sides(False, False, False, False)


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """The work on its scan. `found` False: no outline could be told from the surroundings (`why` says so); the
    whole frame is then taken for the work, so nothing of it is lost."""

    box: Box  # smallest upright rectangle around the work; errs outward
    corners: tuple[Point, Point, Point, Point]  # sub-pixel, clockwise from the top left (x, y)
    skew_deg: float | None  # positive = clockwise on screen
    spans: npt.NDArray[np.float64]  # (n, 2): first and last column edge inside the work; NaN where there is none
    rows_per_span: int  # rows of the scan each row of `spans` stands for
    lid: str = "none"  # white | grey | black | open | none: what is seen around the work
    found: bool = True
    why: str = ""
    sure: float = 1.0
    runs_out: Sides = field(default=NOWHERE)  # sides where the work reaches the frame
    skew_error_deg: float = 0.0  # standard error: torn edges leave more open than cut ones
    other_works: tuple[Box, ...] = ()
    left_out: tuple[Box, ...] = ()  # target, ruler or weight beside the work

    def rows_span(self, row: int) -> tuple[int, int]:
        """First column inside the work and first one past it in that row; equal when the row misses the work.

        Errs inward by up to a pixel of the overview, so that what surrounds the work is never counted with it.
        """
        left, right = self.spans[min(max(row, 0) // self.rows_per_span, len(self.spans) - 1)]
        if not right > left:
            return 0, 0
        return int(np.ceil(left)), int(np.floor(right))

    def spans_of(self, first_row: int, rows: int) -> npt.NDArray[np.int64]:
        """`rows_span` of many rows at once, (rows, 2)."""
        index = np.clip(np.arange(first_row, first_row + rows) // self.rows_per_span, 0, len(self.spans) - 1)
        left, right = np.nan_to_num(self.spans[index]).T
        first, past = np.ceil(left).astype(np.int64), np.floor(right).astype(np.int64)
        return np.where((past > first)[:, None], np.stack((first, past), axis=1), 0)


def whole_frame(width_px: int, height_px: int, why: str = "", lid: str = "none") -> Outline:
    """The whole scan taken for the work: with a reason when no outline was found, without when there is no lid."""
    right, bottom = float(width_px), float(height_px)
    return Outline(
        box=Box(0, 0, width_px, height_px),
        corners=((0.0, 0.0), (right, 0.0), (right, bottom), (0.0, bottom)),
        skew_deg=None,
        spans=np.array([[0.0, right]]),
        rows_per_span=max(height_px, 1),
        lid=lid,
        found=not why,
        why=why,
        sure=0.0 if why else 0.8,
        runs_out=Sides(),
    )
