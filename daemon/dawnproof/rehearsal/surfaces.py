"""Grounds an artwork is made on, as heights in mm: cold-pressed and laid paper, woven canvas; and the noise they and
the pigments are made of. Rows before columns; `px_mm` is pixels a millimetre."""

from __future__ import annotations

from math import ceil

import cv2
import numpy as np
import numpy.typing as npt

Field = npt.NDArray[np.float32]  # (rows, columns), one value a pixel
Shape = tuple[int, int]  # rows, columns


LARGEST_FILTERED_PX = 12.0


def noise(shape: Shape, size_px: float, rng: np.random.Generator) -> Field:
    """Smooth noise of mean 0 and standard deviation about 1 whose features measure about `size_px`.

    Fine noise is filtered, never enlarged from a coarser grid: that would leave the very trace of interpolation by
    which an enlarged scan is known.
    """
    if size_px <= 1.0:
        return rng.standard_normal(shape, dtype=np.float32)
    if size_px <= LARGEST_FILTERED_PX:
        white = rng.standard_normal(shape, dtype=np.float32)
        grown = cv2.GaussianBlur(white, (0, 0), 0.42 * size_px, borderType=cv2.BORDER_REFLECT)
    else:
        grown = _enlarged(shape, size_px, rng)
    step = max(1, int(size_px / 4))
    spread = float(np.std(grown[::step, ::step]))
    return np.asarray(grown / np.float32(max(spread, 1e-6)), dtype=np.float32)


def _enlarged(shape: Shape, size_px: float, rng: np.random.Generator) -> Field:
    """White noise on a grid of `size_px`, enlarged to the shape."""
    rows, columns = (ceil(n / size_px) + 3 for n in shape)
    coarse = rng.standard_normal((rows, columns), dtype=np.float32)
    place = np.array([[size_px, 0, -size_px], [0, size_px, -size_px]], dtype=np.float64)
    flags, border = cv2.INTER_CUBIC, cv2.BORDER_REFLECT
    return np.asarray(cv2.warpAffine(coarse, place, (shape[1], shape[0]), flags=flags, borderMode=border), np.float32)


def clouds(shape: Shape, size_px: float, rng: np.random.Generator, octaves: int = 4) -> Field:
    """Noise of several sizes, each half as large and half as strong as the one before; deviation about 1."""
    total = np.zeros(shape, np.float32)
    power = 0.0
    for octave in range(octaves):
        weight = 0.55**octave
        total += np.float32(weight) * noise(shape, size_px * 0.5**octave, rng)
        power += weight * weight
    return np.asarray(total / np.float32(power**0.5), dtype=np.float32)


def fibres(shape: Shape, px_mm: float, rng: np.random.Generator) -> Field:
    """Short matted fibres, deviation about 1: what stays visible of a sheet when nothing is painted on it."""
    across = cv2.GaussianBlur(rng.standard_normal(shape, dtype=np.float32), (0, 0), 0.16 * px_mm, sigmaY=0.6)
    along = cv2.GaussianBlur(rng.standard_normal(shape, dtype=np.float32), (0, 0), 0.6, sigmaY=0.12 * px_mm)
    matted = across / np.std(across) + along / np.std(along)
    return np.asarray(matted / np.std(matted), dtype=np.float32)


def cold_pressed(shape: Shape, px_mm: float, rng: np.random.Generator) -> Field:
    """Felt marks of a cold-pressed sheet: shallow pits of half to one millimetre, fibres between."""
    felt = np.tanh(0.9 * noise(shape, 0.62 * px_mm, rng)) + 0.5 * noise(shape, 0.3 * px_mm, rng)
    return np.asarray(0.016 * felt + 0.0028 * fibres(shape, px_mm, rng), dtype=np.float32)


def laid(shape: Shape, px_mm: float, rng: np.random.Generator) -> Field:
    """Laid lines 0.9 mm apart across the sheet and chain lines 24 mm apart down it, neither quite straight."""
    rows, columns = (np.arange(n, dtype=np.float32) / np.float32(px_mm) for n in shape)
    bend = 0.12 * noise(shape, 9 * px_mm, rng)
    lines = np.sin(2 * np.pi * (rows[:, None] + bend) / 0.9)
    from_chain = (columns[None, :] + 0.5 * bend + 12.0) % 24.0 - 12.0
    chains = np.exp(-((from_chain / 0.3) ** 2))
    tooth = noise(shape, 0.22 * px_mm, rng)
    heights = 0.010 * lines + 0.014 * chains + 0.006 * tooth + 0.0022 * fibres(shape, px_mm, rng)
    return np.asarray(heights, dtype=np.float32)


def weave(shape: Shape, px_mm: float, rng: np.random.Generator, pitch_mm: float = 0.78) -> Field:
    """A plain weave: warp over weft and weft over warp in turn, threads of uneven width and course."""
    rows, columns = (np.arange(n, dtype=np.float32) / np.float32(px_mm * pitch_mm) for n in shape)
    down = rows[:, None] + 0.22 * noise(shape, 5 * px_mm, rng) + 0.05 * noise(shape, 1.1 * px_mm, rng)
    over = columns[None, :] + 0.22 * noise(shape, 5 * px_mm, rng) + 0.05 * noise(shape, 1.1 * px_mm, rng)
    warp = np.abs(np.sin(np.pi * over)) * (0.5 + 0.5 * np.cos(np.pi * (down + np.floor(over))))
    weft = np.abs(np.sin(np.pi * down)) * (0.5 - 0.5 * np.cos(np.pi * (over + np.floor(down))))
    uneven = 1.0 + 0.18 * noise(shape, 1.6 * px_mm, rng)
    heights = 0.055 * uneven * np.maximum(warp, weft) + 0.0035 * fibres(shape, px_mm, rng)
    return np.asarray(heights, dtype=np.float32)
