"""What else is read at the stitch, beside doubling: the step of tone between the two cameras, and their vertical shift.

`known`: the stitch's column where a doubling has told it for certain.
"""

from __future__ import annotations

import numpy as np

from ..model import Box, Frame, Reading, Where
from .seam_search import Ground
from .seam_shift import JUDGED_PX, find_shift
from .seam_strip import TONE_ROWS, Strip
from .seam_tone import find_step

LEAST_COLUMNS = 64


def step_reading(frame: Frame, own: list[Strip], ground: Ground, known: int | None) -> Reading:
    """`seam.step`, CIEDE2000."""
    strip, rows = own[0], ground.rows
    if len(own) > 1 or not strip.tones:
        return undecided("step", "CIEDE2000", "the place of the stitch is not known")
    kept = [t for t, r in zip(strip.tones, strip.tone_rows, strict=True) if r in rows and r + TONE_ROWS <= rows.stop]
    left, right = max(strip.first, ground.columns.start), min(strip.past, ground.columns.stop)
    if not kept or right - left < LEAST_COLUMNS:
        return undecided("step", "CIEDE2000", "the work hardly reaches the stitch")
    tones = np.stack(kept)[:, left - strip.first : right - strip.first]
    at = None if known is None else known - left
    step = find_step(tones, ground.stitch.start - left, ground.stitch.stop - left, frame.icc, at)
    if step is None:
        return undecided("step", "CIEDE2000", "the work hardly reaches the stitch")
    where = frame.where(step.column + left, rows.start, 1, len(rows))
    return Reading("seam", "step", round(step.delta_e, 3), "CIEDE2000", 0.9, where, certain=step.certain)


def shift_reading(frame: Frame, own: list[Strip], box: Box, stitch: range, known: int | None) -> Reading:
    """`seam.shift`, px; certain only with the place known from a doubling: that it stands out is not enough."""
    strip = own[0]
    kept = [g for row, g in strip.greys.items() if row >= box.y and row + len(g) <= box.bottom]
    left, right = max(strip.first, box.x), min(strip.past, box.right)
    if len(own) > 1:
        return not_asked("shift", "px", "the place of the stitch is not known")
    if not kept or right - left < LEAST_COLUMNS:
        return undecided("shift", "px", "the work hardly reaches the stitch")
    inside = [grey[:, left - strip.first : right - strip.first] for grey in kept]
    first, last = max(stitch.start - left, 0), min(stitch.stop, right) - left
    shift = find_shift(inside, first, last, None if known is None else known - left)
    if shift is None or (shift.px == 0.0 and shift.least_px > JUDGED_PX):
        return undecided("shift", "px", "too little structure along the travel to tell a shift")
    where = frame.where(shift.column + left, box.y, 1, box.height)
    sure = 0.95 if shift.least_px < 0.5 else 0.8
    certain = known is not None and shift.even
    return Reading("seam", "shift", round(shift.px, 3), "px", sure, where, certain=certain)


def undecided(name: str, unit: str, why: str, where: Where | None = None) -> Reading:
    """The stitch could not be judged."""
    return Reading("seam", name, None, unit, 0.0, where, why)


def not_asked(name: str, unit: str, why: str) -> Reading:
    """The question does not arise."""
    return Reading("seam", name, None, unit, 0.0, None, why, certain=False)
