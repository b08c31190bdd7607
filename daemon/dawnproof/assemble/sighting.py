"""Where the parts of a work are seen on an overview of the whole: matched places, part by part.

Features are SIFT (Lowe 2004), which bear another scale, a turn and a little slant; each part's own plane homography
(Hartley and Zisserman 2004, chapter 4) by random sampling sorts out what only looks alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from .view import Grey, View

Floats = npt.NDArray[np.float64]
OVERVIEW_PX = 1600  # long side of the overview while it is compared
_PART_PX = 1000  # long side of a part
_FEATURES = 4000
_RANSAC_PX = 4.0
LEAST_MATCHES = 15
_SQUEEZED = 1.6  # width to height of what a camera sees of a square: beyond 50 degrees of slant


@dataclass(frozen=True)
class Sighting:
    """Places of one part, (n, 2) full upright pixels x, y of the part's view, and the same places on the overview in
    its full pixels; none where the part was not found."""

    on_part: Floats
    on_overview: Floats

    @property
    def found(self) -> bool:
        return len(self.on_part) >= LEAST_MATCHES


def sightings(overview: View, parts: list[View]) -> list[Sighting]:
    """Each part as it is seen on the overview, whatever the others say."""
    points, words = _described(overview, OVERVIEW_PX)
    return [_sighting(points, words, part) for part in parts]


def _sighting(points: Floats, words: Grey, part: View) -> Sighting:
    own_points, own_words = _described(part, _PART_PX)
    nothing = Sighting(np.zeros((0, 2)), np.zeros((0, 2)))
    if min(len(own_points), len(points)) < LEAST_MATCHES:
        return nothing
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(own_words, words, k=2)
    kept = _one_to_one([p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.8 * p[1].distance])
    if len(kept) < LEAST_MATCHES:
        return nothing
    ours = own_points[[m.queryIdx for m in kept]]
    theirs = points[[m.trainIdx for m in kept]]
    unit = max(overview_factor(part, _PART_PX), 1)
    matrix, inside = cv2.findHomography(ours / unit, theirs, cv2.RANSAC, _RANSAC_PX * _spread(theirs), maxIters=4000)
    if matrix is None:
        return nothing
    chosen = inside.ravel() > 0
    return Sighting(ours[chosen], theirs[chosen]) if _upright_plane(ours[chosen], theirs[chosen]) else nothing


def _one_to_one(matches: Sequence[cv2.DMatch]) -> list[cv2.DMatch]:
    """Of several places that claim one place of the overview the most alike: many to one is how chance agrees."""
    best: dict[int, cv2.DMatch] = {}
    for match in matches:
        held = best.get(match.trainIdx)
        if held is None or match.distance < held.distance:
            best[match.trainIdx] = match
    return list(best.values())


def _upright_plane(ours: Floats, theirs: Floats) -> bool:
    """Whether a camera in front of the work could see it so: not mirrored, not squeezed to a line."""
    if len(ours) < LEAST_MATCHES:
        return False
    from_middle = np.linalg.lstsq(ours - ours.mean(axis=0), theirs - theirs.mean(axis=0), rcond=None)[0]
    sizes = np.linalg.svd(from_middle, compute_uv=False)
    return bool(np.linalg.det(from_middle) > 0 and sizes[0] < _SQUEEZED * sizes[1])


def _spread(places: Floats) -> float:
    """Full px of the overview to one px of the reduced one it was searched on."""
    return max(1.0, float(np.ptp(places, axis=0).max()) / OVERVIEW_PX)


def overview_factor(view: View, long_side: int) -> int:
    return max(1, round(max(view.width, view.height) / long_side))


def _described(view: View, long_side: int) -> tuple[Floats, Grey]:
    """(n, 2) full px of the view and (n, 128) words of its features."""
    factor = overview_factor(view, long_side)
    grey = _stretched(view.overview(factor))
    sift = cv2.SIFT.create(nfeatures=_FEATURES, contrastThreshold=0.01)
    keys, words = sift.detectAndCompute(grey, _work_only(view, factor, grey.shape))
    if words is None:
        return np.zeros((0, 2)), np.zeros((0, 128), np.float32)
    places = np.array([key.pt for key in keys], dtype=np.float64)
    return places * factor + (factor - 1) / 2, np.asarray(words, dtype=np.float32)


def _stretched(grey: Grey) -> npt.NDArray[np.uint8]:
    """8 bits, its darkest and lightest hundredth at the ends: exposure and encoding of the two may differ."""
    low, high = np.percentile(grey, [1, 99])
    return np.asarray(np.clip(255 * (grey - low) / max(float(high - low), 1e-4), 0, 255), dtype=np.uint8)


def _work_only(view: View, factor: int, shape: tuple[int, ...]) -> npt.NDArray[np.uint8]:
    """Features of the work alone: the lid looks the same in every scan."""
    mask = np.zeros(shape[:2], np.uint8)
    box = view.work
    mask[box.y // factor : -(-box.bottom // factor), box.x // factor : -(-box.right // factor)] = 1
    return mask
