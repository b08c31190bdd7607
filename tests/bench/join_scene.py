"""Invented scans for the joining bench: a picture with relief, cut into parts whose places are known exactly.

Parts are sampled with quintic splines (scipy.ndimage), which shares nothing with the product's own resampling.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Scene:
    """(rows, columns, channels) encoded values 0..1 without relief, and the height of its surface in px."""

    pigment: npt.NDArray[np.float32]
    height: npt.NDArray[np.float32]
    depth: float

    def lit(self, quarter_turns: int = 0) -> npt.NDArray[np.float32]:
        """Lit from the top as the scan sees it when the work was laid down turned by quarter turns."""
        slope_y, slope_x = np.gradient(self.height)
        slope = np.asarray((slope_y, slope_x, -slope_y, -slope_x)[quarter_turns % 4])
        return np.asarray(np.clip(self.pigment * (1 + self.depth * slope)[:, :, None], 0, 1), dtype=np.float32)


@dataclass(frozen=True)
class Laid:
    """How a part was scanned: `matrix` (2, 3) takes part pixel centres to scene pixel centres; (rows, columns)."""

    matrix: Floats
    rows: int
    columns: int


@dataclass
class ArraySource:
    """An image in memory as the product's reader would offer it."""

    pixels: npt.NDArray[Any]

    @property
    def width(self) -> int:
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        return int(self.pixels.shape[0])

    @property
    def channels(self) -> int:
        return int(self.pixels.shape[2])

    @property
    def depth_bits(self) -> int:
        return int(self.pixels.dtype.itemsize) * 8

    def region(self, x: int, y: int, width: int, height: int) -> npt.NDArray[Any]:
        if x < 0 or y < 0 or x + width > self.width or y + height > self.height:
            raise ValueError(f"region {x},{y} {width}x{height} outside {self.width}x{self.height}")
        return self.pixels[y : y + height, x : x + width]


def laid(centre: tuple[float, float], size: tuple[int, int], angle_deg: float = 0.0, scale: float = 1.0) -> Laid:
    """A part of `size` (rows, columns) whose centre falls on scene point `centre` (x, y), turned and scaled."""
    rows, columns = size
    turn = np.deg2rad(angle_deg)
    linear = scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    middle = np.array([(columns - 1) / 2, (rows - 1) / 2])
    return Laid(np.column_stack([linear, np.array(centre) - linear @ middle]), rows, columns)


def scan(
    lit: npt.NDArray[np.float32],
    part: Laid,
    random: np.random.Generator,
    noise: float = 0.0,
    gain: float = 1.0,
    bend_px: float = 0.0,
) -> npt.NDArray[np.uint16]:
    """The part as 16-bit pixels: quintic splines of the scene, gain on linear light (gamma 2.2), noise as a share of
    full scale; `bend_px` is the largest of a smooth sideways and lengthways displacement."""
    y, x = np.mgrid[0 : part.rows, 0 : part.columns].astype(np.float64)
    if bend_px:
        bend_x, bend_y = bend(part, random, bend_px)
        x, y = x + bend_x, y + bend_y
    m = part.matrix
    place = np.stack([m[1, 0] * x + m[1, 1] * y + m[1, 2], m[0, 0] * x + m[0, 1] * y + m[0, 2]])
    low = np.maximum(np.floor(place.min(axis=(1, 2))).astype(int) - 8, 0)
    high = np.ceil(place.max(axis=(1, 2))).astype(int) + 9
    window = lit[low[0] : high[0], low[1] : high[1]]
    planes = [
        ndimage.map_coordinates(window[:, :, c], place - low[:, None, None], order=5, mode="mirror")
        for c in range(lit.shape[2])
    ]
    values = np.clip(np.stack(planes, axis=2), 0, 1) * gain ** (1 / 2.2)
    values = values + noise * random.standard_normal(values.shape)
    return np.asarray(np.rint(np.clip(values, 0, 1) * 65535), dtype=np.uint16)


def bend(part: Laid, random: np.random.Generator, largest_px: float) -> tuple[Floats, Floats]:
    """Two smooth fields of the part's shape, their vector at most `largest_px` long: a sheet that lay differently."""
    y, x = np.mgrid[0 : part.rows, 0 : part.columns] / float(max(part.rows, part.columns))
    fields = []
    for _ in range(2):
        field = np.zeros_like(x)
        for _ in range(3):
            fx, fy, phase = random.uniform(-1.5, 1.5), random.uniform(-1.5, 1.5), random.uniform(0, 2 * np.pi)
            field += np.cos(2 * np.pi * (fx * x + fy * y) + phase)
        fields.append(field)
    longest = float(np.hypot(*fields).max())
    return fields[0] / longest * largest_px, fields[1] / longest * largest_px
