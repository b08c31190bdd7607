"""Tone across the side of a work: how it changes along normals, and where it changes fastest."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

STEP_PX = 0.5  # of the overview, along the normals
_FLANK_PX = 3.0
_FALL = 1.3
_MOST_SAMPLES = 800
_SMOOTH_SAMPLES = 7
_CLEAR_GRAINS = 6.0


@dataclass(frozen=True, eq=False)
class Profiles:
    """Tone changes a pixel along the normals, `step` (samples, steps, channels), + brighter inwards, 0 outside the
    picture; `along` places on the side, `depth` inwards."""

    step: npt.NDArray[Any]
    along: Floats
    depth: Floats

    @cached_property
    def change(self) -> Floats:
        """Size of the change, summed over the channels, (samples, steps)."""
        return np.asarray(np.abs(self.step).sum(axis=2))

    @cached_property
    def signed(self) -> Floats:
        """Mean of the channels, (samples, steps)."""
        return np.asarray(self.step.mean(axis=2))

    def smoothed(self) -> Profiles:
        """Means along the side, for straight edges: less noise, and the same edge."""
        flat = self.step.reshape(len(self.step), -1)
        mean = np.asarray(cv2.blur(flat, (1, _SMOOTH_SAMPLES))).reshape(self.step.shape)
        return Profiles(mean, self.along, self.depth)


def profiles_across(
    picture: npt.NDArray[np.float32],
    middle: Floats,
    inwards: Floats,
    length: float,
    reach: tuple[float, float],
    most: int = _MOST_SAMPLES,
) -> Profiles:
    """Profiles that lie in the picture, wholly or in part: one a pixel, of a long side `most`."""
    count = int(np.clip(length, 24, most))
    along = (np.arange(count) + 0.5) / count * length - length / 2
    depth = np.arange(reach[0], reach[1], STEP_PX)
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
    lag = round(1 / STEP_PX)
    step = np.full(tone.shape, np.nan)
    step[:, lag:-lag] = (tone[:, 2 * lag :] - tone[:, : -2 * lag]) / 2
    seen = np.isfinite(step).any(axis=(1, 2))
    return Profiles(np.nan_to_num(step[seen]), along[seen], depth)


def votes_in(change: Floats, grain: float) -> Floats:
    """A vote up to 1 at each peak of the change along the normal, the more the further above noise.

    The change must fall on both sides of a peak: it does not on the slope of a shadow, where only noise makes peaks.
    """
    strong = change.astype(np.float32)
    flank = round(_FLANK_PX / STEP_PX)
    near = np.asarray(cv2.dilate(strong, np.ones((1, 5), np.uint8)))
    outer = np.asarray(cv2.erode(strong, np.ones((1, flank), np.uint8), anchor=(flank - 1, 0)))
    inner = np.asarray(cv2.erode(strong, np.ones((1, flank), np.uint8), anchor=(0, 0)))
    peak = np.where((strong >= near) & (strong > _FALL * np.maximum(outer, inner)), strong, 0.0)
    floor = _CLEAR_GRAINS * grain + 1e-4
    return np.asarray(peak**2 / (peak**2 + floor**2), np.float64)


def top_shift(change: Floats, top: npt.NDArray[np.integer]) -> Floats:
    """How far beside the step `top` of each sample the change is largest, by a parabola; in pixels of the overview."""
    rows, top = np.arange(len(change)), np.clip(top, 1, change.shape[1] - 2)
    before, at, after = (change[rows, top + k] for k in (-1, 0, 1))
    curve = before - 2 * at + after
    return np.where(curve < 0, np.clip((before - after) / (2 * np.where(curve < 0, curve, -1.0)), -1, 1), 0.0) * STEP_PX


def nearer_beside(places: Floats) -> Floats:
    """Of the two neighbours of each place the one with the lower value; at the ends the place itself may be it."""
    return np.asarray(np.minimum(np.append(places[0], places[:-1]), np.append(places[1:], places[-1])))
