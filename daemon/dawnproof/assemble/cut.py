"""Where one part ends and the next begins: the path of least difference, by dynamic programming (Efros and Freeman
2001), kept out of stitch strips that another part covers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]
MOST_NODES = 2_000_000
_LENGTH_COST = 0.002  # of full scale a step: of equal ways the shorter
_BARRED_COST = 50.0  # for each pixel of a barred strip that would be shown


@dataclass(frozen=True)
class Field:
    """A rectangle of the joined image looked at every `step` px: places of columns and rows, full pixels."""

    columns: Floats
    rows: Floats
    step: int

    @property
    def shape(self) -> tuple[int, int]:
        return len(self.rows), len(self.columns)


def field_over(left: float, top: float, right: float, bottom: float) -> Field | None:
    """Coarse enough to stay below MOST_NODES; None when the rectangle is empty."""
    width, height = right - left, bottom - top
    if width < 2 or height < 2:
        return None
    step = max(1, int(np.ceil(np.sqrt(width * height / MOST_NODES))))
    middle = (step - 1) / 2
    columns = np.arange(np.ceil(left), right - step + 1.5, step) + middle
    rows = np.arange(np.ceil(top), bottom - step + 1.5, step) + middle
    return Field(columns, rows, step) if len(columns) > 1 and len(rows) > 1 else None


def difference(first: Image, second: Image) -> Image:
    """(rows, columns) how visible it would be to pass from one to the other: the difference around each place, more
    where either has edges of its own."""
    apart = np.abs(first - second).mean(axis=2)
    near = cv2.GaussianBlur(apart, (0, 0), 1.5)
    grey = (first + second).mean(axis=2) / 2
    edge = np.abs(cv2.Sobel(grey, cv2.CV_32F, 1, 0)) + np.abs(cv2.Sobel(grey, cv2.CV_32F, 0, 1))
    return np.asarray(near + 0.02 * cv2.GaussianBlur(edge, (0, 0), 1.0))


def upright_path(cost: Image, both: npt.NDArray[np.bool_], before: Image, behind: Image) -> npt.NDArray[np.float32]:
    """For each row the column left of which the first part is shown.

    `both` where either part may be shown; `before` / `behind` 1 where the first / the second part is barred. The
    path leaves `both` only where a row has none.
    """
    shown_before = np.cumsum(before * both, axis=1) - before * both
    shown_behind = np.cumsum((behind * both)[:, ::-1], axis=1)[:, ::-1]
    total = cost + _LENGTH_COST + _BARRED_COST * (shown_before + shown_behind)
    total = np.where(both, total, total[both].max() * 10 + 1e3 if both.any() else 1e3).astype(np.float64)
    return _least_path(total)


def _least_path(cost: Floats) -> npt.NDArray[np.float32]:
    rows, columns = cost.shape
    came = np.zeros((rows, columns), np.int8)
    so_far = cost[0].copy()
    for row in range(1, rows):
        left = np.concatenate([[np.inf], so_far[:-1]])
        right = np.concatenate([so_far[1:], [np.inf]])
        came[row] = np.where(left < so_far, np.where(left < right, -1, 1), np.where(right < so_far, 1, 0))
        so_far = cost[row] + np.minimum(so_far, np.minimum(left, right))
    path = np.empty(rows, np.int64)
    path[-1] = int(np.argmin(so_far))
    for row in range(rows - 1, 0, -1):
        path[row - 1] = path[row] + came[row, path[row]]
    return path.astype(np.float32)


def to_full(path: npt.NDArray[np.float32], across: Floats, along: Floats) -> tuple[int, npt.NDArray[np.float32]]:
    """A path in field steps as one value for every full pixel along it: first place, values across."""
    values = np.interp(path, np.arange(len(across)), across) - 0.5
    every = np.arange(int(np.floor(along[0])), int(np.ceil(along[-1])) + 1)
    return int(every[0]), np.interp(every, along, values).astype(np.float32)


Seen = Callable[[Field], tuple[Image, npt.NDArray[np.bool_], Image]]


def cut_between(field: Field, first: Seen, second: Seen, upright: bool) -> tuple[int, npt.NDArray[np.float32]]:
    """The cut between two images of the field, each given as values (rows, columns, channels) 0..1, where it has
    pixels, and where it is barred."""
    values_a, has_a, barred_a = first(field)
    values_b, has_b, barred_b = second(field)
    cost, both = difference(values_a, values_b), has_a & has_b
    if upright:
        path = upright_path(cost, both, barred_a, barred_b)
        return to_full(path, field.columns, field.rows)
    path = upright_path(cost.T, both.T, barred_a.T, barred_b.T)
    return to_full(path, field.rows, field.columns)


def ramp(distance: Floats, half_px: float) -> Floats:
    """0 far before a cut, 1 far behind, even in between."""
    return np.asarray(np.clip(0.5 + distance / (2 * half_px), 0.0, 1.0))


def at(first: int, path: Sequence[float] | npt.NDArray[np.float32], along: Floats) -> Floats:
    """Value of a full-pixel path at places along it; beyond its ends the end."""
    return np.asarray(np.interp(along, first + np.arange(len(path)), path))
