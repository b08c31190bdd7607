"""Gradient energy of fine and of coarse detail, and the noise's share of both, in a slab of a few rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from .band import Pixels

Kernel = npt.NDArray[np.floating[Any]]
Cells = npt.NDArray[np.float64]  # (cells across,)

LEAST_ROWS = 24
FINE_CYCLES, COARSE_CYCLES = 0.25, 1.0 / 12.0  # per px, where the two filters answer most

# [-1 0 2 0 -1]/4 answers (1 - cos 4 pi f)/2: most at 1/4 cycle, not at all at the Nyquist limit, where noise is; the
# coarse one is the same on means of three pixels.
_FINE: Kernel = np.array([1, -2, -1, 4, -1, -2, 1], np.float32) / 8
_COARSE: Kernel = np.array([-1, -1, -1, 0, 0, 0, 2, 2, 2, 0, 0, 0, -1, -1, -1], np.float32) / 12
_NOISE_ROW: Kernel = np.array([1, -2, 1], np.float32)  # times itself: Immerkaer 1996, blind to edges and slopes
_ONE: Kernel = np.ones(1, np.float32)
_THIRD: Kernel = np.ones(3, np.float32) / 3

# what white noise of variance 1 leaves in each
FINE_NOISE = float((_FINE**2).sum()) * 2
COARSE_NOISE = float((_COARSE**2).sum()) / 3 * 2
_LAPLACE_NOISE = float((_NOISE_ROW**2).sum()) ** 2


@dataclass(frozen=True, slots=True)
class Energies:
    """Mean energy by cell, squared shares of full scale: fine and coarse detail, noise included, and the variance of
    the noise (too large where sharp diagonal lines pass)."""

    fine: Cells
    coarse: Cells
    noise: Cells


def edge_energies(slab: Pixels, cell_px: int) -> Energies:
    """Of (rows, columns), columns a multiple of the cell's width. Noise is taken for white from pixel to pixel."""
    full = 255.0 if slab.dtype == np.uint8 else 65535.0
    grey = slab.astype(np.float32) * np.float32(1.0 / full)
    noise = _mean_square(grey, _NOISE_ROW, _NOISE_ROW, cell_px) / _LAPLACE_NOISE
    fine = np.add(_mean_square(grey, _FINE, _ONE, cell_px), _mean_square(grey, _ONE, _FINE, cell_px))
    coarse = np.add(_mean_square(grey, _COARSE, _THIRD, cell_px), _mean_square(grey, _THIRD, _COARSE, cell_px))
    return Energies(fine, coarse, noise)


def _mean_square(grey: Kernel, along: Kernel, down: Kernel, cell_px: int) -> Cells:
    """Mean square of the filtered slab by cell; rows that the filter cannot fill are left out."""
    answer = np.asarray(cv2.sepFilter2D(grey, -1, along, down, borderType=cv2.BORDER_REFLECT_101))
    cut = len(down) // 2
    inner = answer[cut : len(answer) - cut] if cut else answer
    square = np.einsum("ij,ij->j", inner, inner) / len(inner)
    return np.asarray(square.reshape(-1, cell_px).mean(axis=1), np.float64)
