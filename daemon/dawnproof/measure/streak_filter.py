"""How strong a streak of a given width would be at each column: a matched filter on whitened column profiles.

What lies on the scan is coloured noise to a streak: strong at coarse detail, weak at the finest, where sensor noise is
all there is. So each stretch's profile is levelled to equal spread everywhere and divided by its own smoothed spectrum
before the streak's shape is looked for (the matched filter for coloured noise, Turin 1960).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from . import fourier
from .medians import medians

Profile = npt.NDArray[np.float32]  # (stretches, columns)
Spectrum = npt.NDArray[np.complexfloating[Any, Any]]

BLOCK = 64  # columns over which the spread of a stretch is taken
LEAST_SPREAD = 1e-4  # share of the tone: coding and calibration leave at least this
CLIPPED = 4.0  # times the spread: a few strong edges must not make the spectrum
ORDER = 10  # pixels that the autoregressive model looks back
APART = np.abs(np.subtract.outer(np.arange(ORDER), np.arange(ORDER)))
LOADING = 1e-3  # white noise added to the model


@dataclass(frozen=True, slots=True)
class WidthStrength:
    """`share` (stretches, columns): strength of a streak of `width_px` that begins at the column, signed share of the
    tone."""

    width_px: int
    share: Profile


def strength_by_width(share: Profile, widths_px: tuple[int, ...]) -> Iterator[WidthStrength]:
    """One answer for each width. `share`: columns against the mean of their two neighbours."""
    columns = share.shape[1]
    spread = block_spread(share, BLOCK)
    level = share / spread
    size = fourier.next_fast_len(columns + 32, real=True)
    spectrum = fourier.rfft(level, size, axis=1)
    power = _power(level, size)
    for width in widths_px:
        shape = fourier.rfft(_second_difference(width), size)
        # the shape starts one column before the streak
        lead = np.exp(2j * np.pi * np.arange(len(shape)) / size)
        shape = shape * lead
        matched = fourier.irfft(spectrum * np.conj(shape) / power, size, axis=1)[:, :columns]
        energy = _energy(shape, power, size)
        yield WidthStrength(width, (matched / energy * spread).astype(np.float32))


def _power(level: npt.NDArray[np.floating[Any]], size: int) -> npt.NDArray[np.float64]:
    """Spectrum of each stretch, by an autoregressive model (Yule and Walker): its inverse is a filter of a few pixels,
    so that a strong edge stays where it is."""
    clipped = np.clip(level, -CLIPPED, CLIPPED)
    raw = np.abs(fourier.rfft(clipped, 2 * size, axis=1)) ** 2
    like = fourier.irfft(raw, 2 * size, axis=1)[:, : ORDER + 1] / level.shape[1]
    power = np.empty((len(level), size // 2 + 1))
    for row, lags in enumerate(like):
        first = lags[0] * (1 + LOADING) + 1e-12
        weights = np.linalg.solve(np.concatenate([[first], lags[1:ORDER]])[APART], lags[1:])
        left = max(float(first - weights @ lags[1:]), 1e-6 * first)
        power[row] = left / np.abs(fourier.rfft(np.concatenate([[1.0], -weights]), size)) ** 2
    return power


def _second_difference(width: int) -> npt.NDArray[np.float64]:
    """A line of that width against the mean of its neighbours, from the column before it."""
    line = np.zeros(width + 4)
    line[2 : 2 + width] = 1.0
    return np.asarray(line[1:-1] - (line[:-2] + line[2:]) / 2)


def _energy(shape: Spectrum, power: npt.NDArray[np.float64], size: int) -> npt.NDArray[np.float64]:
    both = np.full(len(shape), 2.0)
    both[0] = 1.0
    if size % 2 == 0:
        both[-1] = 1.0
    return np.asarray((both * np.abs(shape) ** 2 / power).sum(axis=1, keepdims=True) / size)


def block_spread(values: npt.NDArray[np.floating[Any]], block: int) -> Profile:
    """Robust standard deviation of each row over blocks of columns, spread out to every column."""
    rows, columns = values.shape
    blocks = max(1, round(columns / block))
    edges = np.linspace(0, columns, blocks + 1).astype(int)
    spread = np.empty((rows, columns), np.float32)
    for left, right in pairwise(edges):
        part = values[:, left:right]
        middle = medians(part, axis=1)
        deviation = 1.4826 * medians(np.abs(part - middle[:, None]), axis=1)
        spread[:, left:right] = np.maximum(deviation, LEAST_SPREAD)[:, None]
    return spread
