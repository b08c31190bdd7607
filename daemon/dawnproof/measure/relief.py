"""Whether the fine relief of two laid-together patches is lit alike.

Relief lit from the side shades all channels in the same proportion and changes sign with the light; pigment does
neither. So the fine detail of the logarithm is taken, what the colour differences explain of it is taken out, the
patches with the least coarse drawing are kept, and the noise, which is not shared by pixels of two interleaved
lattices, is divided out of the correlation (Spearman 1904, correction for attenuation).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]
FINE_PX = (0.8, 3.0)  # inner and outer smoothing of the band that counts as fine
COARSER_PX = (1.2, 5.0)
_LEAST_RELIABLE = 0.15
_LEAST_PATCHES = 4


@dataclass(frozen=True, slots=True)
class Relief:
    """`likeness` near 1 lit alike, negative when one part was turned, None without relief above the noise;
    `patches` how many it rests on; `differing` the share of the fine detail that is not common to both and not
    noise: 0 where lit alike, whatever pigment lies beneath the relief and keeps `likeness` up."""

    likeness: float | None
    patches: int
    differing: float = 0.0


def relief_likeness(pairs: Sequence[tuple[Floats, Floats]]) -> Relief:
    """Pairs of (rows, columns, channels) patches 0..1, the second resampled to lie on the first, which is as scanned;
    both with the noise of one scanner."""
    judged = [found for found in (_judged(a, b) for a, b in pairs) if found is not None]
    if len(judged) < _LEAST_PATCHES:
        return Relief(None, len(judged))
    judged.sort(key=lambda j: j[2])
    calm = judged[: max(_LEAST_PATCHES, len(judged) // 2)]
    shared = float(np.median([j[0] for j in calm]))
    reliable = float(np.median([j[1] for j in calm]))
    differing = float(np.clip(np.median([j[3] for j in judged]), 0.0, 4.0))
    return Relief(float(np.clip(shared / reliable, -1.0, 1.0)), len(calm), differing)


def _judged(a: Floats, b: Floats) -> tuple[float, float, float, float] | None:
    """Correlation, its most possible value given the noise, how much coarse drawing there is, and the share of the
    detail that differs."""
    rel = _reliability(a)  # the second was resampled, which smears its noise over both lattices
    if rel < _LEAST_RELIABLE:
        return None
    fine_a, fine_b = _fine_shading(a), _fine_shading(b)
    energy = float(np.sqrt((fine_a**2).sum() * (fine_b**2).sum()))
    if energy <= 0:
        return None
    coarse = float(_band(_log_mean(a), FINE_PX[1], 4 * FINE_PX[1]).std())
    return float((fine_a * fine_b).sum() / energy), rel, coarse, _differing(a, b, rel)


def _differing(a: Floats, b: Floats, reliable: float) -> float:
    """Variance of the difference of the fine bands, without that of the noise of both, against the detail's own."""
    most = 0.0
    for band in (FINE_PX, COARSER_PX):
        ours, theirs = _band(_log_mean(a), *band), _band(_log_mean(b), *band)
        whole = float(ours.var())
        if whole > 0:
            most = max(most, (float((ours - theirs).var()) / whole - 2 * (1 - reliable)) / reliable)
    return most


def _log_mean(patch: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(patch.mean(axis=2), 1e-3)), dtype=np.float32)


def _band(values: Floats, inner: float, outer: float) -> Floats:
    near = cv2.GaussianBlur(values, (0, 0), inner, borderType=cv2.BORDER_REFLECT)
    return np.asarray(near - cv2.GaussianBlur(values, (0, 0), outer, borderType=cv2.BORDER_REFLECT))


def _fine_shading(patch: Floats) -> Floats:
    """Fine detail of the log mean without what the colour differences explain."""
    fine = _band(_log_mean(patch), *FINE_PX)
    fine = fine - fine.mean()
    limit = 4 * float(np.median(np.abs(fine))) + 1e-9
    fine = np.clip(fine, -limit, limit)
    if patch.shape[2] < 3:
        return np.asarray(fine, dtype=np.float32)
    logs = np.log(np.maximum(patch[:, :, :3], 1e-3))
    colour = np.stack(
        [_band(np.ascontiguousarray(logs[:, :, i] - logs[:, :, 1]), *FINE_PX).ravel() for i in (0, 2)], axis=1
    )
    normal = colour.T @ colour
    normal += 1e-3 * np.trace(normal) * np.eye(2) + 1e-12 * np.eye(2)
    part = np.linalg.solve(normal, colour.T @ fine.ravel())
    return np.asarray(fine - (colour @ part).reshape(fine.shape), dtype=np.float32)


def _reliability(patch: Floats) -> float:
    """Correlation of the fine band as seen by two interleaved lattices of pixels, stepped up to both together
    (Spearman 1910, Brown 1910): white noise is not shared, relief is."""
    grey = _log_mean(patch)
    rows, columns = grey.shape
    lattice = (np.add.outer(np.arange(rows), np.arange(columns)) % 2).astype(np.float32)
    halves = []
    for chosen in (lattice, 1 - lattice):
        bands = []
        for sigma in FINE_PX:
            weight = cv2.GaussianBlur(chosen, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
            value = cv2.GaussianBlur(grey * chosen, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
            bands.append(value / np.maximum(weight, 1e-3))
        halves.append(bands[0] - bands[1])
    first, second = (half - half.mean() for half in halves)
    energy = float(np.sqrt((first**2).sum() * (second**2).sum()))
    half = float((first * second).sum() / energy) if energy > 0 else 0.0
    return 2 * half / (1 + half) if half > -0.9 else -1.0
