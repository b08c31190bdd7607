"""The straight sides of a work, to a fraction of a pixel of the overview.

A shadow deepens towards the work and is steepest at its edge, so an edge is taken where tone changes fastest; of all
lines that much of a side agrees on, the outermost is the edge (a painted frame or a mount lies further in).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_STEP_PX = 0.5  # of the overview, along the normals
_FLANK_PX = 3.0
_FALL = 1.3
_TURNS = np.radians(np.arange(-2.0, 2.01, 0.1))
_MOST_SAMPLES = 800


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side: a straight line at `offset` (pixels inwards of the searched rectangle's side, at the middle of the
    side) with `slope`; `along` and `depth` are the single edge places it was fitted to; `support` the share of the
    side that shows an edge there."""

    offset: float
    slope: float
    along: Floats
    depth: Floats
    support: float
    spread: float  # robust deviation of the places from the line

    def at(self, along: float) -> float:
        """How far inwards the line lies at a place along the side (pixels from its middle)."""
        return self.offset + self.slope * along


def find_side(
    picture: npt.NDArray[np.float32],
    middle: Floats,
    inwards: Floats,
    length: float,
    reach: tuple[float, float],
    noise: float,
) -> Side | None:
    """The edge near the line through `middle` (x, y) normal to the unit vector `inwards`, over `length` pixels.

    `reach`: how far outside (negative) and inside that line is searched. None where the picture shows no edge
    that agrees over a third of the side, or the side lies outside the picture.
    """
    change, along, depth = _changes(picture, middle, inwards, length, reach)
    seen = np.isfinite(change).any(axis=1)
    if seen.sum() < 12:
        return None
    change, along = change[seen], along[seen]
    votes = _votes(change, noise)
    best = _outermost(votes, along, depth)
    if best is None:
        return None
    offset, slope, tolerance = best
    return _fit(change, along, depth, offset, slope, tolerance, noise)


def _changes(
    picture: npt.NDArray[np.float32], middle: Floats, inwards: Floats, length: float, reach: tuple[float, float]
) -> tuple[Floats, Floats, Floats]:
    """Change of tone a pixel, summed over the channels, (samples, steps); NaN outside the picture."""
    count = int(np.clip(length, 24, _MOST_SAMPLES))
    along = (np.arange(count) + 0.5) / count * length - length / 2
    depth = np.arange(reach[0], reach[1], _STEP_PX)
    direction = np.array([-inwards[1], inwards[0]])
    x = middle[0] + along[:, None] * direction[0] + depth[None] * inwards[0]
    y = middle[1] + along[:, None] * direction[1] + depth[None] * inwards[1]
    rows, columns = picture.shape[:2]
    outside = (x < 0.5) | (y < 0.5) | (x > columns - 0.5) | (y > rows - 0.5)
    # places are edge coordinates, remap counts from pixel centres
    maps = (x - 0.5).astype(np.float32), (y - 0.5).astype(np.float32)
    tone = np.asarray(cv2.remap(picture, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    tone = tone.reshape(*x.shape, -1).astype(np.float64)
    tone[outside] = np.nan
    change = np.full(x.shape, np.nan)
    lag = round(1 / _STEP_PX)
    change[:, lag:-lag] = np.abs(tone[:, 2 * lag :] - tone[:, : -2 * lag]).sum(axis=2) / 2
    return change, along, depth


def _votes(change: Floats, noise: float) -> Floats:
    """A vote up to 1 at each peak of the change along the normal, the more the further above noise.

    The change must fall on both sides of a peak: it does not on the slope of a shadow, where only noise makes peaks.
    """
    strong = np.nan_to_num(change).astype(np.float32)
    flank = round(_FLANK_PX / _STEP_PX)
    near = np.asarray(cv2.dilate(strong, np.ones((1, 5), np.uint8)))
    outer = np.asarray(cv2.erode(strong, np.ones((1, flank), np.uint8), anchor=(flank - 1, 0)))
    inner = np.asarray(cv2.erode(strong, np.ones((1, flank), np.uint8), anchor=(0, 0)))
    peak = np.where((strong >= near) & (strong > _FALL * np.maximum(outer, inner)), strong, 0.0)
    floor = 6 * noise + 1e-4
    return np.asarray(peak**2 / (peak**2 + floor**2), np.float64)


def _outermost(votes: Floats, along: Floats, depth: Floats) -> tuple[float, float, float] | None:
    """Offset and slope of the outermost line that a third of the side agrees on, and how closely (pixels)."""
    for smear in (1.0, 3.0):
        wide = smear / _STEP_PX
        smooth = np.asarray(cv2.GaussianBlur(votes, (0, 0), sigmaX=wide, sigmaY=0.01), np.float64)
        smooth *= np.sqrt(2 * np.pi) * wide
        scores = np.array([_along_line(smooth, along, turn) for turn in np.tan(_TURNS)]) / len(along)
        best = np.max(scores, axis=0)
        peaks = np.flatnonzero((best[1:-1] >= best[:-2]) & (best[1:-1] > best[2:])) + 1
        good = peaks[best[peaks] > max(0.33, 0.5 * float(best.max()))]
        if len(good):
            turn = int(np.argmax(scores[:, good[0]]))
            return float(depth[good[0]]), float(np.tan(_TURNS[turn])), 2.5 * smear
    return None


def _along_line(votes: Floats, along: Floats, slope: float) -> Floats:
    """Sum of the votes along lines of that slope, by offset."""
    shift = np.rint(along * slope / _STEP_PX).astype(int)
    total = np.zeros(votes.shape[1])
    for step in np.unique(shift):
        rows = votes[shift == step].sum(axis=0)
        if step >= 0:
            total[: len(rows) - step] += rows[step:]
        else:
            total[-step:] += rows[:step]
    return total


def _fit(
    change: Floats, along: Floats, depth: Floats, offset: float, slope: float, tolerance: float, noise: float
) -> Side | None:
    places = _places(change, depth, offset + slope * along, tolerance, 4 * noise)
    good = np.isfinite(places)
    if good.sum() < 8:
        return None
    x, y = along[good], places[good]
    fit_offset, fit_slope, spread = _robust_line(x, y)
    return Side(fit_offset, fit_slope, x, y, float(good.mean()), spread)


def _places(change: Floats, depth: Floats, line: Floats, tolerance: float, least: float) -> Floats:
    """Sub-pixel place of the fastest change within `tolerance` of the line in each sample; NaN where there is none."""
    near = np.abs(depth[None] - line[:, None]) <= tolerance
    strong = np.where(near, np.nan_to_num(change), 0.0)
    top = np.clip(strong.argmax(axis=1), 1, len(depth) - 2)
    rows = np.arange(len(strong))
    before, at, after = (np.nan_to_num(change)[rows, top + k] for k in (-1, 0, 1))
    curve = before - 2 * at + after
    shift = np.where(curve < 0, np.clip((before - after) / (2 * np.where(curve < 0, curve, -1.0)), -1, 1), 0.0)
    places = depth[top] + shift * _STEP_PX
    places[strong.max(axis=1) <= least] = np.nan
    return np.asarray(places)


def _robust_line(x: Floats, y: Floats) -> tuple[float, float, float]:
    """Offset, slope and spread by iteratively reweighted least squares (Tukey's biweight)."""
    weight = np.ones_like(x)
    for _ in range(12):
        total = weight.sum()
        mx, my = (weight * x).sum() / total, (weight * y).sum() / total
        slope = (weight * (x - mx) * (y - my)).sum() / max((weight * (x - mx) ** 2).sum(), 1e-9)
        off = y - my - slope * (x - mx)
        spread = max(1.4826 * float(np.median(np.abs(off))), 0.02)
        weight = np.where(np.abs(off) < 4.7 * spread, (1 - (off / (4.7 * spread)) ** 2) ** 2, 1e-6)
    return float(my - slope * mx), float(slope), spread
