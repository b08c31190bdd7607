"""Whether two scans show the same picture, from their thumbs.

A work scanned again lies a little elsewhere, a little turned, in a little more or less light. So the two are
compared by normalised cross-correlation over all shifts within reach and a few small turns, each picture limited to
the inside of the work (all works have edges alike) and levelled to equal contrast everywhere, so that one dark shape
alone decides nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from . import fourier

Thumbnail = npt.NDArray[np.uint8]
Plane = npt.NDArray[np.float32]

TURNS_DEG = (0.0, -1.0, 1.0, -2.0, 2.0, -3.0, 3.0)
REACH = 0.3  # of the side: how far the work may have moved
LEAST_OVERLAP = 0.5  # of the smaller work
FINE_PX, COARSE_PX, EVEN_PX = 0.8, 6.0, 9.0  # widths of what is kept, taken off, and of the levelling
QUIET = 1.5  # grey levels of contrast below which a place shows nothing
LEAST_DETAIL = 0.12  # share of the work that must show something
RIM_PX = 6  # of the work, left out: its edge is not quite straight on the thumb
SKEWED_PX = 7.0  # an edge may run so far to either side of its middle
STEP = 3.0  # grey levels
REPEATS = 0.8  # a second place that fits so well, against the best: a pattern, not a picture
SAME_PLACE_PX = 6
SAME = 0.45
SURELY_SAME, SURELY_OTHER = 0.55, 0.33


@dataclass(frozen=True, slots=True)
class Likeness:
    """`score` 0..1: correlation at the best place and turn; `certain` False: too blank, or in between."""

    score: float
    certain: bool
    why: str = ""

    @property
    def same(self) -> bool:
        return self.score >= SAME


def same_picture(first: Thumbnail, second: Thumbnail, scale: float = 1.0) -> Likeness:
    """How alike two thumbs are, lying as they do or turned by quarters (`why` then says so). `scale`: mm per pixel of
    `second` over mm per pixel of `first`, where the scans cover areas of different size."""
    one, other = first.astype(np.float32), second.astype(np.float32)
    if scale != 1.0:
        other = np.asarray(cv2.resize(other, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))
    found = _compared(one, other)
    if found.same or not found.certain:
        return found
    for quarters in (2, 1, 3):
        turned = _compared(one, np.ascontiguousarray(np.rot90(other, quarters)))
        if turned.same and turned.certain:
            return Likeness(turned.score, True, f"turned by {90 * quarters} degrees")
    return found


def _compared(one: Plane, other: Plane) -> Likeness:
    planes = [_levelled(plane, _inside(plane)) for plane in (one, other)]
    for level, mask in planes:
        if min(mask.shape) < 24 or mask.sum() < 200:
            return Likeness(0.0, False, "too small to compare")
        if _detail(level, mask) < LEAST_DETAIL:
            return Likeness(0.0, False, "too blank to compare")
    best, elsewhere = max(_best_correlation(planes[0], _turned(planes[1], turn)) for turn in TURNS_DEG)
    score = round(float(np.clip(best, 0.0, 1.0)), 3)
    if score > SURELY_OTHER and elsewhere > REPEATS * best:
        return Likeness(score, False, "the pattern repeats")
    certain = score >= SURELY_SAME or score <= SURELY_OTHER
    return Likeness(score, certain, "" if certain else "alike in part only")


def _levelled(plane: Plane, mask: Plane) -> tuple[Plane, Plane]:
    """Fine structure inside the work, brought to equal contrast, and the mask; blank places stay near nothing."""
    fine = (plane - _smooth(plane, mask, COARSE_PX)) * mask
    fine = _smooth(fine, mask, FINE_PX) * mask
    local = np.sqrt(_smooth(fine * fine, mask, EVEN_PX) + QUIET**2)
    return np.clip(fine / local, -2.5, 2.5).astype(np.float32), mask


def _smooth(plane: Plane, mask: Plane, width_px: float) -> Plane:
    """Gaussian mean of what lies inside the mask only, so that the work's edge does not spill in."""
    above = np.asarray(cv2.GaussianBlur(plane * mask, (0, 0), width_px))
    below = np.asarray(cv2.GaussianBlur(mask, (0, 0), width_px))
    return np.asarray(above / np.maximum(below, 1e-3), np.float32)


def _inside(plane: Plane) -> Plane:
    """1 inside the work, 0 on the lid and along the work's edge; all but a rim where no edge shows."""
    rows, columns = plane.shape
    left, right = _edge(plane), columns - _edge(plane[:, ::-1])
    top, bottom = _edge(plane.T), rows - _edge(plane.T[:, ::-1])
    mask = np.zeros(plane.shape, np.float32)
    mask[top + RIM_PX : max(bottom - RIM_PX, 0), left + RIM_PX : max(right - RIM_PX, 0)] = 1.0
    return mask


def _edge(plane: Plane) -> int:
    """How far from the left the work's left edge lies: the outermost step that most rows have at about one place; 0
    where there is none."""
    reach = plane.shape[1] // 3
    step = np.abs(np.diff(np.asarray(cv2.GaussianBlur(plane, (0, 0), 0.8)), axis=1))[:, :reach]
    if step.shape[1] < 4:
        return 0
    strong = step > max(STEP, float(np.quantile(step, 0.75)))
    some = strong.any(axis=1)
    if some.mean() < 0.6:
        return 0
    # the lid's shadow fades into the step: its innermost pixel near the outermost strong one is the edge
    first = np.argmax(strong, axis=1)[some]
    middle = float(np.median(first))
    if np.mean(np.abs(first - middle) <= SKEWED_PX) < 0.6:
        return 0
    near = strong[:, int(middle) : int(middle) + 2 * RIM_PX].mean(axis=0) > 0.4
    return int(middle) + (int(np.flatnonzero(near)[-1]) + 1 if near.any() else 1)


def _detail(level: Plane, mask: Plane) -> float:
    """Share of the work where something shows."""
    local = np.asarray(cv2.GaussianBlur(level * level, (0, 0), 4.0))
    return float(((local > 0.3) * mask).sum() / mask.sum())


def _turned(plane: tuple[Plane, Plane], turn_deg: float) -> tuple[Plane, Plane]:
    if turn_deg == 0.0:
        return plane
    rows, columns = plane[0].shape
    matrix = cv2.getRotationMatrix2D(((columns - 1) / 2, (rows - 1) / 2), turn_deg, 1.0)
    level, mask = (
        np.asarray(cv2.warpAffine(image, matrix, (columns, rows), flags=flags), np.float32)
        for image, flags in zip(plane, (cv2.INTER_LINEAR, cv2.INTER_NEAREST), strict=True)
    )
    return level, mask


def _best_correlation(first: tuple[Plane, Plane], second: tuple[Plane, Plane]) -> tuple[float, float]:
    """Highest normalised correlation over all shifts in reach at which the works overlap enough, and the highest at
    another place (Padfield 2012, masked correlation by Fourier transforms; means are near nothing after levelling)."""
    shape = [a + b - 1 for a, b in zip(first[0].shape, second[0].shape, strict=True)]
    size = [fourier.next_fast_len(n, real=True) for n in shape]

    def spectrum(plane: Plane) -> npt.NDArray[np.complexfloating]:
        return np.asarray(fourier.rfft2(plane, size))

    def correlated(one: npt.NDArray[np.complexfloating], other: npt.NDArray[np.complexfloating]) -> Plane:
        return np.asarray(fourier.irfft2(one * np.conj(other), size), np.float32)

    (a, mask_a), (b, mask_b) = first, second
    spectra = [spectrum(plane) for plane in (a * mask_a, a * a * mask_a, mask_a, b * mask_b, b * b * mask_b, mask_b)]
    product = correlated(spectra[0], spectra[3])
    power = correlated(spectra[1], spectra[5]) * correlated(spectra[2], spectra[4])
    overlap = correlated(spectra[2], spectra[5])
    near = _in_reach(size, first[0].shape) & (overlap >= LEAST_OVERLAP * min(mask_a.sum(), mask_b.sum()))
    fit = np.where(near, product / np.sqrt(np.maximum(power, 1e-6)), 0.0)
    at = np.unravel_index(np.argmax(fit), fit.shape)
    best = float(fit[at])
    away = np.roll(fit, (SAME_PLACE_PX - at[0], SAME_PLACE_PX - at[1]), axis=(0, 1))
    away[: 2 * SAME_PLACE_PX + 1, : 2 * SAME_PLACE_PX + 1] = 0.0
    return best, float(away.max())


def _in_reach(size: list[int], shape: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    away = [
        np.minimum(np.arange(n), n - np.arange(n)) <= max(8.0, REACH * side)
        for n, side in zip(size, shape, strict=True)
    ]
    return np.asarray(away[0][:, None] & away[1][None, :])
