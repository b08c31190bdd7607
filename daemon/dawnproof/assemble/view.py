"""Looking at a part: upright, reduced, grey, and only where asked, so that no part is ever held whole."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from ..model import Box
from .parts import JoinPart, Matrix, Pixels

Grey = npt.NDArray[np.float32]
BAND_ROWS = 512
_LINES = 96


class View:
    """A part as if it had been scanned `turns` quarter turns anticlockwise. Coordinates are of the upright view."""

    def __init__(self, part: JoinPart, turns: int = 0) -> None:
        self.part, self.turns = part, turns % 4
        width, height = part.image.width, part.image.height
        self.width, self.height = (height, width) if self.turns % 2 else (width, height)
        self.full_scale = float(2**part.image.depth_bits - 1)
        self.work = self._upright(part.box or Box(0, 0, width, height))
        self.kept: dict[int, Grey] = {}
        self.hidden: tuple[int, npt.NDArray[np.bool_]] | None = None  # factor of the overview, marks not to be compared
        self.streaks: Grey | None = None  # (columns of the part as scanned,) of the sensor, not to be compared
        self._lines: Grey | None = None
        self._memory: dict[object, Any] = {}

    def turned(self, quarters: int) -> View:
        """The same part turned further anticlockwise; overviews already made are turned along."""
        other = View(self.part, self.turns + quarters)
        other.kept = {factor: np.rot90(small, quarters) for factor, small in self.kept.items()}
        if self.hidden is not None:
            other.hidden = self.hidden[0], np.rot90(self.hidden[1], quarters)
        other.streaks, other._lines = self.streaks, self._lines
        return other

    def remembered(self, what: object, made: Callable[[], Any]) -> Any:
        """What `made` gives, made only once for this view."""
        if what not in self._memory:
            self._memory[what] = made()
        return self._memory[what]

    @property
    def name(self) -> str:
        return self.part.name

    def _upright(self, box: Box) -> Box:
        corners = np.array([[box.x, box.y], [box.right - 1, box.bottom - 1]], dtype=np.float64)
        back = inverse(self.to_part)
        moved = corners @ back[:, :2].T + back[:, 2]
        x0, y0 = np.rint(moved.min(axis=0)).astype(int)
        x1, y1 = np.rint(moved.max(axis=0)).astype(int)
        return Box(int(x0), int(y0), int(x1 - x0 + 1), int(y1 - y0 + 1))

    @property
    def to_part(self) -> Matrix:
        """Pixel centres of the view to pixel centres of the part as scanned."""
        width, height = self.part.image.width, self.part.image.height
        return np.array(
            [
                [[1, 0, 0], [0, 1, 0]],
                [[0, -1, width - 1], [1, 0, 0]],
                [[-1, 0, width - 1], [0, -1, height - 1]],
                [[0, 1, 0], [-1, 0, height - 1]],
            ][self.turns],
            dtype=np.float64,
        )

    def pixels(self, x: int, y: int, width: int, height: int) -> Pixels:
        """(rows, columns, channels) of a rectangle that lies inside the view."""
        if self.turns == 0:
            return self.part.image.region(x, y, width, height)
        corners = np.array([[x, y], [x + width - 1, y + height - 1]], dtype=np.float64)
        moved = np.rint(corners @ self.to_part[:, :2].T + self.to_part[:, 2]).astype(int)
        (x0, y0), (x1, y1) = moved.min(axis=0), moved.max(axis=0)
        found = self.part.image.region(int(x0), int(y0), int(x1 - x0 + 1), int(y1 - y0 + 1))
        return np.rot90(found, self.turns)

    def grey(self, x: int, y: int, width: int, height: int) -> Grey:
        """(rows, columns) 0..1: mean of the channels, in the file's own encoding."""
        return self.grey_of(self.pixels(x, y, width, height))

    def grey_of(self, pixels: npt.NDArray[Any]) -> Grey:
        """(rows, columns) grey of (rows, columns, channels) in the part's scale."""
        return np.asarray(pixels.mean(axis=2, dtype=np.float32) / self.full_scale)

    def overview(self, factor: int, progress: Callable[[float], None] | None = None) -> Grey:
        """The whole view as `grey`, each value the mean of factor x factor pixels; rests at the far sides left out."""
        if factor not in self.kept:
            self.kept[factor] = self._reduce(factor)
            if progress:
                progress(1.0)
        return self.kept[factor]

    def _reduce(self, factor: int) -> Grey:
        rows, columns = self.height // factor, self.width // factor
        small = np.empty((rows, columns), np.float32)
        step = max(1, BAND_ROWS // factor)
        lines = []
        for row in range(0, rows, step):
            count = min(step, rows - row)
            band = self.pixels(0, row * factor, self.width, count * factor)
            small[row : row + count] = self.grey_of(shrink(band[:, : columns * factor], factor))
            lines.append(self.grey_of(band[:: max(1, self.height // _LINES)]))
        if self.turns == 0:
            self._lines = np.concatenate(lines)
        return small

    def lines(self) -> Grey:
        """(about 100, columns) grey of single lines across the part as it was scanned, from top to bottom."""
        if self._lines is None:
            image = self.part.image
            rows = np.unique(np.linspace(0, image.height - 1, _LINES).astype(int))
            self._lines = np.concatenate([self.grey_of(image.region(0, int(y), image.width, 1)) for y in rows])
        return self._lines


def in_strip(
    view: View, x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], wide: float = 0.0, high: float = 0.0
) -> npt.NDArray[np.bool_]:
    """Which places of an upright view, or the half so large pieces around them, lie in a stitch strip of its part."""
    to_part, part = view.to_part, view.part
    across = to_part[0, 0] * x + to_part[0, 1] * y + to_part[0, 2]
    reach = part.seam_halfwidth_px + (abs(to_part[0, 0]) * wide + abs(to_part[0, 1]) * high) / 4
    barred = np.zeros(np.shape(across), bool)
    for seam in part.seams_px:
        barred |= np.abs(across - seam) <= reach
    return barred


def shrink(pixels: npt.NDArray[Any], factor: int) -> npt.NDArray[np.float32]:
    """Means over factor x factor pixels, (rows, columns, channels); sides are whole multiples of factor."""
    rows, columns = pixels.shape[0] // factor, pixels.shape[1] // factor
    smaller = cv2.resize(np.ascontiguousarray(pixels).astype(np.float32), (columns, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(smaller, dtype=np.float32).reshape(rows, columns, pixels.shape[2])


def inverse(matrix: Matrix) -> Matrix:
    """The map back of a (2, 3) matrix."""
    turned = np.linalg.inv(matrix[:, :2])
    return np.column_stack([turned, -turned @ matrix[:, 2]])


def compose(outer: Matrix, inner: Matrix) -> Matrix:
    """First `inner`, then `outer`."""
    return np.column_stack([outer[:, :2] @ inner[:, :2], outer[:, :2] @ inner[:, 2] + outer[:, 2]])


def apply(matrix: Matrix, points: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """(n, 2) points x, y through a (2, 3) matrix."""
    return np.asarray(points @ matrix[:, :2].T + matrix[:, 2])


def at_level(matrix: Matrix, factor: float) -> Matrix:
    """A map between full pixels as a map between pixels `factor` times as large, for centres of pixels."""
    offset = (1 - factor) / 2 / factor  # a full pixel x lies at x / factor + offset
    linear = matrix[:, :2]
    shift = matrix[:, 2] / factor + offset - linear @ np.array([offset, offset])
    return np.column_stack([linear, shift])


def at_full(matrix: Matrix, factor: float) -> Matrix:
    """The reverse of `at_level`."""
    return at_level(matrix, 1.0 / factor)


@lru_cache(maxsize=8)
def taper(rows: int, columns: int) -> Grey:
    """(rows, columns) window that fades to small at the rim."""
    fade_y = np.hanning(rows + 2)[1:-1] ** 0.5
    fade_x = np.hanning(columns + 2)[1:-1] ** 0.5
    return np.asarray(np.outer(fade_y, fade_x), dtype=np.float32)
