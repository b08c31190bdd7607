"""One gain per part and channel, on linear light, from what neighbours both show; solved over the whole grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from ..measure.curve import ToneCurve
from .laying import laid_patches, patch_size, work_in_both
from .register import PairFit
from .view import View

Floats = npt.NDArray[np.float64]
_SAMPLES = 80
_WINDOW = 48
_CALM_PX = 2.0
_DARKEST = 0.004  # linear; below it the ratio says little
_LEAST_SHOWN = 0.25  # of a patch, where the work is seen in both
_OUTLYING = 4.0  # times the usual difference within a patch
_WITHIN = 0.0015  # a gain this near 1 is taken as 1


@dataclass(frozen=True)
class Tone:
    """`gains` (parts, channels) multiply linear values, the reference's are 1; `left_percent` per pair the median
    difference after gain; `clipped` per pair the share of the overlap at either end of the scale."""

    gains: Floats
    left_percent: Mapping[tuple[int, int], float]
    clipped: Mapping[tuple[int, int], float]


def levels_of(view: View, curve: ToneCurve) -> Floats:
    """Linear light of every possible value of the view's type."""
    top = int(view.full_scale)
    return curve.linear(np.arange(top + 1) / top)


def even_out(
    views: Sequence[View],
    pairs: Mapping[tuple[int, int], PairFit],
    curve: ToneCurve,
    reference: int,
    most_gain: float,
) -> Tone:
    """Least squares on the logarithm of the gains over all pairs."""
    light = levels_of(views[0], curve)
    samples = {pair: _sampled(views[pair[0]], views[pair[1]], fit, light) for pair, fit in pairs.items()}
    channels = views[0].part.image.channels
    gains = np.stack([_solved(len(views), samples, reference, c) for c in range(channels)], axis=1)
    gains = np.clip(gains, 1 / most_gain, most_gain)
    gains[np.abs(gains - 1) < _WITHIN] = 1.0
    left = {}
    for (a, b), (first, second, _) in samples.items():
        apart = np.abs(np.log((first * gains[a]) / (second * gains[b]))) if len(first) else np.zeros((1, 1))
        left[a, b] = float(np.median(apart) * 100)
    return Tone(gains, left, {pair: clipped for pair, (_, _, clipped) in samples.items()})


def _sampled(first: View, second: View, fit: PairFit, light: Floats) -> tuple[Floats, Floats, float]:
    """Mean linear light of patches laid on one another, and the share of clipped pixels."""
    chosen = np.linspace(0, len(fit.matches) - 1, min(_SAMPLES, len(fit.matches))).astype(int)
    size = patch_size(fit, _WINDOW)
    top = first.full_scale
    ours, theirs, clipped = [], [], []
    for i in chosen:
        pair = laid_patches(first, second, fit.onto(i), fit.matches.first[i], size)
        if pair is None:
            continue
        clipped += [_clipped_share(patch) for patch in pair]
        shown = work_in_both(first, second, fit.onto(i), fit.matches.first[i], size)
        if shown.mean() < _LEAST_SHOWN:
            continue
        lit = [_light(patch * top, light)[shown] for patch in pair]
        alike = _alike(*lit)
        means = [of[alike].mean(axis=0) for of in lit]
        if min(m.min() for m in means) > _DARKEST:
            ours.append(means[0])
            theirs.append(means[1])
    shape = (len(ours), first.part.image.channels)
    share = float(np.mean(clipped)) if clipped else 0.0
    return np.array(ours).reshape(shape), np.array(theirs).reshape(shape), share


def _light(patch: npt.NDArray[np.float32], light: Floats) -> Floats:
    """Linear light by channel. The finest detail is smoothed away first: moving a part softens it, and the mean of a
    curved function of values would take that for less light."""
    calm = cv2.GaussianBlur(patch, (0, 0), _CALM_PX, borderType=cv2.BORDER_REFLECT).reshape(patch.shape)
    return np.asarray(np.interp(calm, np.arange(len(light)), light))


def _alike(ours: Floats, theirs: Floats) -> npt.NDArray[np.bool_]:
    """(n,) of (n, channels) values: where the two differ as they do all over the patch. Dust on the bed does not."""
    ratio = np.log(np.maximum(ours, _DARKEST / 4) / np.maximum(theirs, _DARKEST / 4))
    apart = np.abs(ratio - np.median(ratio, axis=0))
    return np.asarray((apart <= _OUTLYING * np.maximum(np.median(apart, axis=0), 1e-9)).all(axis=1))


def _clipped_share(patch: npt.NDArray[Any]) -> float:
    high = (patch >= 1.0 - 1e-6).all(axis=2)
    low = (patch <= 1e-6).all(axis=2)
    return float((high | low).mean())


def _solved(
    count: int, samples: Mapping[tuple[int, int], tuple[Floats, Floats, float]], reference: int, channel: int
) -> Floats:
    normal, right = np.zeros((count, count)), np.zeros(count)
    for (a, b), (first, second, _) in samples.items():
        if len(first) == 0:
            continue
        ratio = float(np.median(np.log(second[:, channel] / first[:, channel])))
        weight = float(len(first))
        normal[a, a] += weight
        normal[b, b] += weight
        normal[a, b] -= weight
        normal[b, a] -= weight
        right[a] += weight * ratio
        right[b] -= weight * ratio
    normal[reference, :] = normal[:, reference] = 0.0
    normal[reference, reference], right[reference] = 1.0, 0.0
    normal += 1e-9 * np.eye(count)
    return np.asarray(np.exp(np.linalg.solve(normal, right)))


def gain_table(view: View, curve: ToneCurve, gain: float) -> npt.NDArray[Any]:
    """New value for every value of the view's type: linear, times gain, encoded again."""
    top = int(view.full_scale)
    moved = curve.encoded(np.clip(levels_of(view, curve) * gain, 0.0, 1.0))
    return np.asarray(np.rint(moved * top).astype(np.uint16 if top > 255 else np.uint8))
