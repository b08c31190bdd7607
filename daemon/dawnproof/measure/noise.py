"""Sensor noise and sharpening halos, from sample tiles of the scan."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

Tile = npt.NDArray[np.float32]

_BLOCK = 32
_QUIET_SHARE = 0.1
_LAPLACIAN = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
_SPAN = 12  # px of profile kept on each side of an edge
_LEAST_STEP = 0.08  # of full scale
_LEAST_EDGES = 40


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

    Profiles across clear steps between two flat tones are laid over one another at their half height; the median
    profile of all keeps what painted lines beside single edges would add.
    """
    profiles = [p for tile in tiles for across in (tile, tile.T) for p in _profiles(np.ascontiguousarray(across))]
    if len(profiles) < _LEAST_EDGES:
        return None
    mean = np.median(np.array(profiles), axis=0)
    above, below = mean[_SPAN : _SPAN + 7].max() - 1, -mean[_SPAN - 6 : _SPAN + 1].min()
    return float(max(above, below, 0.0))


def _profiles(tile: Tile) -> list[npt.NDArray[np.float64]]:
    """Normalised profiles (0 before, 1 after) along rows through the steepest places of the tile."""
    smooth = np.asarray(cv2.blur(tile, (1, 3)))
    step = np.abs(smooth[:, 2:] - smooth[:, :-2])
    peak = (step >= np.asarray(cv2.dilate(step, np.ones((1, 9), np.uint8)))) & (step > _LEAST_STEP / 3)
    peak[:, : _SPAN + 2] = peak[:, -_SPAN - 2 :] = False
    rows, columns = np.nonzero(peak)
    order = np.argsort(-step[rows, columns])[:200]
    found = []
    for row, column in zip(rows[order], columns[order] + 1, strict=True):
        profile = smooth[row, column - _SPAN : column + _SPAN + 1].astype(np.float64)
        before, after = profile[:4], profile[-4:]
        rise = after.mean() - before.mean()
        if abs(rise) < _LEAST_STEP or max(np.ptp(before), np.ptp(after)) > 0.1 * abs(rise):
            continue
        found.append((profile - before.mean()) / rise)
    return found
