"""Colour patches of two parts laid on one another, for what must be judged side by side."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ..measure.relief import Relief, relief_likeness
from .bed import blind_at
from .parts import Matrix
from .register import PairFit
from .view import View, apply

Colour = npt.NDArray[np.float32]
_RELIEF_PATCHES = 60
_RELIEF_SIZE = 64


def relief_of(first: View, second: View, fit: PairFit) -> Relief:
    """Whether the fine relief shading of the overlap is lit alike in both."""
    chosen = np.linspace(0, len(fit.matches) - 1, min(_RELIEF_PATCHES, len(fit.matches))).astype(int)
    pairs = []
    for i in chosen:
        place = fit.matches.first[i]
        pair = laid_patches(first, second, fit.onto(i), place, patch_size(fit, _RELIEF_SIZE))
        if pair is not None:
            pairs.append(pair)
    return relief_likeness(pairs)


def patch_size(fit: PairFit, largest: int) -> int:
    """px of square patches that fit around the matches of a narrow overlap with room for being moved."""
    return int(np.clip(0.55 * fit.across_px, 12, largest))


def laid_patches(
    first: View, second: View, matrix: Matrix, place: npt.NDArray[np.float64], size: int
) -> tuple[Colour, Colour] | None:
    """A patch of the first view around `place` as scanned, and the second laid on it, both 0..1; None where either
    runs out of its frame."""
    x, y = (round(float(c) - size / 2) for c in place)
    if x < 0 or y < 0 or x + size > first.width or y + size > first.height:
        return None
    corners = apply(matrix, np.array([[x, y], [x + size, y], [x, y + size], [x + size, y + size]], dtype=np.float64))
    low, high = np.floor(corners.min(axis=0)).astype(int) - 3, np.ceil(corners.max(axis=0)).astype(int) + 4
    if low.min() < 0 or high[0] > second.width or high[1] > second.height:
        return None
    ours = first.pixels(x, y, size, size).astype(np.float32) / first.full_scale
    window = second.pixels(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))
    flip = matrix[::-1, 1::-1]
    offset = flip @ np.array([y, x]) + matrix[::-1, 2] - low[::-1]
    planes = [
        ndimage.affine_transform(
            window[:, :, c].astype(np.float32) / second.full_scale, flip, offset, (size, size), order=3
        )
        for c in range(window.shape[2])
    ]
    return np.asarray(ours), np.stack(planes, axis=2)


def work_in_both(
    first: View, second: View, matrix: Matrix, place: npt.NDArray[np.float64], size: int
) -> npt.NDArray[np.bool_]:
    """(size, size) where `laid_patches` shows the work in both, and not what is known to be fixed to the bed."""
    x, y = (round(float(c) - size / 2) for c in place)
    ours = blind_at(first, x, y, size, size, 1)
    corners = apply(matrix, np.array([[x, y], [x + size, y], [x, y + size], [x + size, y + size]], dtype=np.float64))
    low, high = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int) + 1
    theirs = blind_at(second, int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]), 1)
    shown = np.ones((size, size), bool) if ours is None else ~ours
    if theirs is not None:
        onto = np.column_stack([matrix[:, :2], corners[0] - low])
        flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        shown &= cv2.warpAffine(theirs.astype(np.uint8), onto, (size, size), flags=flags) == 0
    return shown
