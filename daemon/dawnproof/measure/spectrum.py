"""How much of the resolution holds detail or sensor noise, from sample tiles: spectra, and the traces of enlarging.

Enlarging by interpolation leaves the outer spectrum empty, and makes the strength of the finest detail, and its
correlation from pixel to pixel, rise and fall with the period of the source pixels. A native scan has neither: its
sensor noise fills the spectrum up to the end, evenly. Source of the second trace: Gallagher, "Detection of linear and
cubic interpolation in JPEG compressed images", CRV 2005; Popescu and Farid, "Exposing digital forgeries by detecting
traces of resampling", IEEE Trans. Signal Process. 53 (2005).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from .medians import medians

Floats = npt.NDArray[np.float64]

_LENGTH = 256  # of the transforms along a tile
_LEAST_CYCLES = 48  # of 256 px: enlarging by less than 1.23 is not looked for
_HARMONICS = 3
_FLAT_SHARE = 0.5  # of the tiles, the flattest: noise rules there, not what is painted
_SILENT = 1e-7
_FINEST = np.array([[1.0, -4.0, 6.0, -4.0, 1.0]])
_QUIET_SHARE = 0.3
_BLOCK_PX = 8  # the period of compressed pictures, which a scan of a print may carry
_LEAST_STRENGTH = 30.0
_LEAST_ALONE = 2.0
_DEEP = 0.145
_NEARLY_DOUBLED = 0.47  # cycles a pixel
_EMPTY_DB = -9.0


@dataclass(frozen=True, slots=True)
class Period:
    """The strongest periodic trace: cycles a pixel, strength over the median of all periods, and over the strongest
    one that is not a harmonic of it (a printed repeat or a weave has many). Depths are amplitudes: of the finest
    detail's size (log units), and of its correlation with the next pixel's."""

    frequency: float
    strength: float
    alone: float
    size_depth: float = 0.0
    correlation_depth: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class AlongAxis:
    """What the tiles show along one axis. `power`: mean power by share of Nyquist (129), of the flattest tiles."""

    power: Floats
    period: Period
    outer_db: float  # power at the end of the spectrum over that at its middle


def along_rows(tiles: list[npt.NDArray[np.float32]]) -> AlongAxis | None:
    """Spectrum and periodic traces along the rows of square tiles (0 to 1); None where nothing varies."""
    wide = [tile for tile in tiles if float(tile.std()) > _SILENT and tile.shape[1] >= _LENGTH // 2]
    if not wide:
        return None
    powers = np.array([_power(tile) for tile in wide])
    flattest = np.argsort(powers[:, 40:].sum(axis=1))[: max(1, round(len(wide) * _FLAT_SHARE))]
    power = powers[flattest[: max(1, len(flattest) // 2)]].mean(axis=0)
    outer = 10 * np.log10((power[121:128].mean() + 1e-30) / (power[52:70].mean() + 1e-30))
    return AlongAxis(power, _period([wide[k] for k in flattest]), float(outer))


def _power(tile: npt.NDArray[np.float32]) -> Floats:
    length = min(_LENGTH, tile.shape[1])
    rows = tile[:, :length] - tile[:, :length].mean(axis=1, keepdims=True)
    spectrum = np.fft.rfft(rows * np.hanning(length).astype(np.float32), n=_LENGTH, axis=1)
    return np.asarray((np.abs(spectrum) ** 2).mean(axis=0), np.float64)


def _period(tiles: list[npt.NDArray[np.float32]]) -> Period:
    strengths = np.zeros((2, _LENGTH // 2 + 1))
    for tile in tiles:
        for trace, series in zip(strengths, _series(tile), strict=True):
            level = series - np.asarray(cv2.GaussianBlur(series[None], (0, 0), 5.0))[0]
            trace += np.abs(np.fft.rfft(level * np.hanning(len(level)), n=_LENGTH)) ** 2
    best = max((_strongest(trace) for trace in strengths), key=lambda p: p.strength * min(p.alone, 3.0))
    cycles = round(best.frequency * _LENGTH)
    depths = 4 * np.sqrt(strengths[:, cycles - 1 : cycles + 2].max(axis=1) / len(tiles)) / _LENGTH
    return replace(best, size_depth=float(depths[0]), correlation_depth=float(depths[1]))


def _series(tile: npt.NDArray[np.float32]) -> tuple[Floats, Floats]:
    """By column: log strength of the finest detail, and its correlation with the next column's.

    Only the quieter part of the tile counts, where sensor noise rules: what is painted has periods of its own.
    """
    bend = np.asarray(cv2.filter2D(tile, -1, _FINEST), np.float32)[:, 2:-2]
    size = np.abs(bend)
    activity = np.asarray(cv2.blur(size, (9, 9)))
    quiet = (activity <= np.sort(activity, axis=None)[round(_QUIET_SHARE * (activity.size - 1))]).astype(np.float32)
    level = float(medians(size[quiet > 0], axis=0)) + _SILENT
    sign = np.asarray(bend / (size + level), np.float32)
    strength = _column_means(np.log(size + np.float32(0.1 * level)), quiet)
    return strength, _column_means(sign[:, 1:] * sign[:, :-1], quiet[:, 1:])


def _column_means(values: npt.NDArray[np.float32], weight: npt.NDArray[np.float32]) -> Floats:
    """Weighted means of columns; columns with hardly any weight get the mean of all."""
    count = weight.sum(axis=0, dtype=np.float64)
    sums = np.einsum("yx,yx->x", values, weight, dtype=np.float64)
    enough = count >= 4
    total = float(count[enough].sum())
    means = np.full(len(count), float(sums[enough].sum()) / total if total else 0.0)
    means[enough] = sums[enough] / count[enough]
    return means


def _strongest(trace: Floats) -> Period:
    if not trace[20:].any():  # the same in every row or column: nothing repeats
        return Period(0.0, 0.0, 0.0)
    relative = trace / (float(np.median(trace[20:])) + 1e-300)
    best = _LEAST_CYCLES + int(relative[_LEAST_CYCLES:].argmax())
    other = np.ones(len(relative), bool)
    other[:20] = False
    for multiple in range(1, _HARMONICS + 1):
        cycles = multiple * best % _LENGTH
        cycles = min(cycles, _LENGTH - cycles)
        other[max(0, cycles - 3) : cycles + 4] = False
    alone = float(relative[best] / relative[other].max())
    return Period(_refined(relative, best) / _LENGTH, float(relative[best]), alone)


def _refined(power: Floats, best: int) -> float:
    """Centre of the peak by its neighbours' weight."""
    first, past = max(0, best - 2), min(len(power), best + 3)
    weight = power[first:past]
    return float((weight * np.arange(first, past)).sum() / weight.sum())


def enlarged_by(axis: AlongAxis) -> float | None:
    """The factor a scan was enlarged by along this axis (1.23 to 2), or None where nothing proves it.

    A picture printed from enlarged or compressed data shows traces too, but shallow ones: the scanner's own noise lies
    over them. Only where the noise itself was enlarged are they deep.
    """
    period = axis.period
    if period.strength < _LEAST_STRENGTH or period.alone < _LEAST_ALONE:
        return None
    if period.frequency > _NEARLY_DOUBLED:
        deep = period.correlation_depth > _DEEP  # doubled pixels are alike in size, only their neighbours differ
    elif abs(period.frequency * _BLOCK_PX - round(period.frequency * _BLOCK_PX)) < 0.03:
        deep = period.size_depth > (_DEEP if axis.outer_db < _EMPTY_DB else 2 * _DEEP)
    else:
        deep = period.size_depth > _DEEP
    return float(np.clip(1 / (1 - period.frequency), 1.0, 2.0)) if deep else None


def held_share(axis: AlongAxis) -> float:
    """Share of Nyquist up to which detail or noise is held: where the power has come down to a hundredth of that
    at a quarter of Nyquist, or 1 where it levels out above that: noise then fills the rest."""
    smooth = np.asarray(cv2.GaussianBlur(axis.power[None], (0, 0), 2.0))[0]
    level = 10 * np.log10(smooth / (smooth[32] + 1e-30) + 1e-12)
    if level[120] > -20 or level[104] - level[124] < 2.0:
        return 1.0
    return float(np.argmax(level[32:] < -20) + 32) / 128
