"""Sensor noise and sharpening halos, from sample tiles of the scan."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

Tile = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]

_BLOCK = 32
_QUIET_SHARE = 0.1
_LAPLACIAN = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
_SPAN = 12  # px of profile kept on each side of an edge
_LEAST_STEP = 0.08  # of full scale
_LEAST_EDGES = 40
_EDGES_A_TILE = 200
_BINS = 4  # a pixel
_LEAST_IN_BIN = 6


def noise_share(tiles: list[Tile]) -> float | None:
    """Standard deviation of the noise, share of full scale, in the quietest tenth of the blocks; None without tiles.

    Source: Immerkaer, "Fast noise variance estimation", Computer Vision and Image Understanding 64 (1996) 300-302.
    """
    sigmas = []
    for tile in tiles:
        bend = np.abs(np.asarray(cv2.filter2D(tile, -1, _LAPLACIAN))[1:-1, 1:-1])
        rows, columns = (n // _BLOCK * _BLOCK for n in bend.shape)
        if not rows or not columns:
            continue
        blocks = bend[:rows, :columns].reshape(rows // _BLOCK, _BLOCK, columns // _BLOCK, _BLOCK)
        sigmas.append(blocks.mean(axis=(1, 3)).ravel() * np.sqrt(np.pi / 2) / 6)
    if not sigmas:
        return None
    every = np.sort(np.concatenate(sigmas))
    return float(np.mean(every[: max(1, round(len(every) * _QUIET_SHARE))]))


def halo_share(tiles: list[Tile]) -> float | None:
    """Overshoot beside strong edges, share of the edge's step, the larger of both sides; None with too few edges.

    Profiles across clear steps between two flat tones are laid over one another at their half height, in bins of a
    quarter pixel; the median of each bin keeps out what painted lines beside single edges would add.
    """
    found = [_profiles(np.ascontiguousarray(across)) for tile in tiles for across in (tile, tile.T)]
    profiles = np.concatenate(found) if found else np.zeros((0, 2 * _SPAN + 1))
    if len(profiles) < _LEAST_EDGES:
        return None
    profile = _overlaid(profiles)
    middle = len(profile) // 2
    reach = 6 * _BINS
    above, below = np.nanmax(profile[middle : middle + reach]) - 1, -np.nanmin(profile[middle - reach : middle])
    return float(max(above, below, 0.0))


def _overlaid(profiles: Floats) -> Floats:
    """Median profile in bins of a quarter pixel, its half height in the middle; NaN where a bin has few samples."""
    middle = _SPAN
    rise = profiles[:, middle - 2 : middle + 3]
    after = np.argmax(rise >= 0.5, axis=1).clip(1, 4)
    rows = np.arange(len(profiles))
    low, high = rise[rows, after - 1], rise[rows, after]
    crossing = middle - 2 + after - 1 + (0.5 - low) / np.where(high > low, high - low, 1.0)
    place = np.arange(profiles.shape[1])[None] - crossing[:, None]
    count = 2 * (_SPAN - 2) * _BINS
    index = np.floor(place * _BINS).astype(int) + count // 2
    return np.array([_median_of(profiles[index == k]) for k in range(count)])


def _median_of(values: Floats) -> float:
    return float(np.median(values)) if len(values) >= _LEAST_IN_BIN else float("nan")


def _profiles(tile: Tile) -> Floats:
    """Normalised profiles (0 before, 1 after), (n, 2 * span + 1), along rows through the steepest places of a tile."""
    if tile.shape[1] < 2 * _SPAN + 5:  # no room for a profile
        return np.zeros((0, 2 * _SPAN + 1))
    smooth = np.asarray(cv2.blur(tile, (1, 3)))
    step = np.abs(smooth[:, 2:] - smooth[:, :-2])
    peak = (step >= np.asarray(cv2.dilate(step, np.ones((1, 9), np.uint8)))) & (step > _LEAST_STEP / 3)
    peak[:, : _SPAN + 2] = peak[:, -_SPAN - 2 :] = False
    rows, columns = np.nonzero(peak)
    steepest = np.argsort(-step[rows, columns])[:_EDGES_A_TILE]
    at = columns[steepest, None] + 1 + np.arange(-_SPAN, _SPAN + 1)[None]
    profiles = smooth[rows[steepest, None], at].astype(np.float64)
    before, after = profiles[:, :4], profiles[:, -4:]
    rise = after.mean(axis=1) - before.mean(axis=1)
    uneven = np.maximum(np.ptp(before, axis=1), np.ptp(after, axis=1))
    clear = (np.abs(rise) >= _LEAST_STEP) & (uneven <= 0.1 * np.abs(rise))
    return np.asarray((profiles[clear] - before[clear].mean(axis=1)[:, None]) / rise[clear, None])
