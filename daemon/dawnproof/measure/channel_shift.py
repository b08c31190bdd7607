"""The shift between two channels of small tiles, by the phase of their cross spectrum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from . import fourier
from .band import Pixels
from .medians import medians

TILE_PX = 64
LOWEST, HIGHEST = 0.035, 0.36  # cycles per px: below lies the tone of the pigments, above mostly noise
FARTHEST_PX = 4
LEAST_ALIKE = 0.55  # mean cosine of what the shift leaves of the phase
LEAST_CONTRAST = 0.004  # share of full scale, of the weaker channel within the band of frequencies

Tiles = npt.NDArray[np.float32]  # (tiles, rows, columns)
Spectra = npt.NDArray[np.complex64]


@dataclass(frozen=True, slots=True)
class TileShift:
    """In the tile with its top left at `row`, `column`, channel `channel` (0 red, 2 blue) lies `shift_px` (down,
    right) of where green has it."""

    row: int
    column: int
    channel: int
    shift_px: tuple[float, float]


def _frequencies() -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32], npt.NDArray[np.bool_]]:
    down = np.fft.fftfreq(TILE_PX)[:, None].astype(np.float32)
    right = np.fft.rfftfreq(TILE_PX)[None, :].astype(np.float32)
    size = np.hypot(down, right)
    return down + 0 * right, right + 0 * down, (size >= LOWEST) & (size <= HIGHEST)


DOWN, RIGHT, BAND = _frequencies()
OUTER = np.hypot(DOWN, RIGHT) > 0.45
WINDOW = np.outer(np.hanning(TILE_PX + 2)[1:-1], np.hanning(TILE_PX + 2)[1:-1]).astype(np.float32)


def tile_shifts(rows: Pixels, first_row: int, left: npt.NDArray[np.int_]) -> list[TileShift]:
    """Shifts of red and blue in the tiles that start at columns `left` of these 64 rows, (64, columns, 3); tiles
    without common detail are left out."""
    full = 255.0 if rows.dtype == np.uint8 else 65535.0
    tiles = np.stack([rows[:, x : x + TILE_PX] for x in left]).astype(np.float32) / np.float32(full)
    spectra = [_spectra(tiles[..., channel]) for channel in range(3)]
    found: list[TileShift] = []
    for channel in (0, 2):
        shifts, good = _shifts(spectra[1], spectra[channel])
        found += [
            TileShift(first_row, int(left[k]), channel, (float(shifts[k, 0]), float(shifts[k, 1])))
            for k in np.flatnonzero(good)
        ]
    return found


def _spectra(tiles: Tiles) -> Spectra:
    flat = tiles - tiles.mean(axis=(1, 2), keepdims=True)
    return np.asarray(fourier.rfft2(flat * WINDOW, axes=(1, 2)), np.complex64)


def _shifts(reference: Spectra, moved: Spectra) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
    """(tiles, 2) shifts down and right, and which of them count."""
    cross = np.conj(reference) * moved
    size = np.abs(cross)
    noise = medians(size[:, OUTER], axis=1)[:, None] + np.float32(1e-12)
    size = size[:, BAND]
    weight = size / (size + 4.0 * noise)
    phase = cross[:, BAND] / (size + np.float32(1e-12))
    within = np.zeros_like(cross)
    within[:, BAND] = phase * weight
    whole = _whole_shift(within)
    shift = whole.astype(np.float64)
    for _ in range(2):
        shift += _slope(np.angle(phase * _turn(shift)), weight)
    alike = ((phase * _turn(shift)).real * weight).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9)
    good = (alike > LEAST_ALIKE) & (np.abs(shift - whole).max(axis=1) < 1.0)
    good &= (_contrast(reference) > LEAST_CONTRAST) & (_contrast(moved) > LEAST_CONTRAST)
    return shift, good


def _turn(shift: npt.NDArray[np.float64]) -> Spectra:
    """What takes a shift out of the phase, (tiles, frequencies of the band)."""
    down = np.exp(2j * np.pi * np.fft.fftfreq(TILE_PX) * shift[:, :1]).astype(np.complex64)
    right = np.exp(2j * np.pi * np.fft.rfftfreq(TILE_PX) * shift[:, 1:]).astype(np.complex64)
    return np.asarray((down[:, :, None] * right[:, None, :])[:, BAND])


def _whole_shift(phase: npt.NDArray[np.complexfloating]) -> npt.NDArray[np.int64]:
    peak = fourier.irfft2(phase, s=(TILE_PX, TILE_PX), axes=(1, 2))
    near = np.fft.fftshift(peak, axes=(1, 2))
    middle = TILE_PX // 2
    near = near[:, middle - FARTHEST_PX : middle + FARTHEST_PX + 1, middle - FARTHEST_PX : middle + FARTHEST_PX + 1]
    at = near.reshape(len(near), -1).argmax(axis=1)
    side = 2 * FARTHEST_PX + 1
    return np.stack([at // side - FARTHEST_PX, at % side - FARTHEST_PX], axis=1)


def _slope(angle: npt.NDArray[np.floating], weight: npt.NDArray[np.floating]) -> npt.NDArray[np.float64]:
    """Least-squares plane through the phase: what is left of the shift, (tiles, 2)."""
    down, right = DOWN[BAND], RIGHT[BAND]
    yy, xx, xy = weight @ (down * down), weight @ (right * right), weight @ (down * right)
    y, x = (weight * angle) @ down, (weight * angle) @ right
    determinant = np.maximum(yy * xx - xy * xy, 1e-12)
    turned = np.stack([y * xx - x * xy, x * yy - y * xy], axis=1) / determinant[:, None]
    return np.asarray(-turned / (2 * np.pi), np.float64)


def _contrast(spectra: Spectra) -> npt.NDArray[np.float64]:
    """Standard deviation within the band of frequencies, share of full scale."""
    power = (np.abs(spectra[:, BAND]) ** 2).sum(axis=1) * 2
    return np.asarray(np.sqrt(power / (TILE_PX**2 * (WINDOW**2).sum())), np.float64)
