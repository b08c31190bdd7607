"""The tone step and its place: two cameras that differ in gain leave an edge along the stitch that no picture has.

The ratio of tones across it is the same in every row, it stays where it is along the whole travel, and it lasts: both
sides keep their level. A crease, a fold or a line comes back to the level it left; the edge of a motif or of a mount
changes with the motif and, lying a little askew, leaves its column.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .colour import delta_e_2000, to_lab
from .medians import medians

Tones = npt.NDArray[np.float32]  # (blocks, columns, channels), 0..1 in the file's encoding
Floats = npt.NDArray[np.float64]

NEAR_PX = 4  # columns averaged on either side
ZONES_PX = (0, 16, 48)  # columns left out between the two sides: a blend zone is passed over
LASTS_PX = (6, 12, 24)  # the level is looked at again that much further out
SHARE = 2 / 3  # the step counts when it runs along a third of the stitch: this quantile of its size
BLOCKS_TOLD = 4  # neighbouring blocks of rows that tell the same thing
STANDS_OUT = 5.0  # standard errors of the median ratio
ABOVE_RIVAL = 1.3
MOST_CAMERA_STEP = 0.12  # ratio; two cameras of one bed never differ by more: then it is the work's own edge
LEAST_RATIO = 0.002
EVEN = 0.5  # share of the step by which half of the blocks may differ from it
FULL = 0.7  # share of what a wider zone shows that a narrow one must show to be wide enough
LASTING = (0.6, 1.5)  # share of the step that must be there further out
STRAIGHT_PX = 1.5  # how far its place may differ between the upper and the lower part, in a cut
LEAST_BLOCKS = 16


@dataclass(frozen=True)
class ToneStep:
    """CIEDE2000 across `column`, 0 where nothing stands out; `certain` when it can only be the cameras'."""

    column: int
    delta_e: float
    certain: bool


@dataclass(frozen=True)
class _Place:
    """A column with the logarithms of the tone ratio across it, `each` block's (blocks, channels) and the median, and
    how far `above` what is asked it stands out (1 = just enough)."""

    column: int
    zone: int
    each: Floats
    ratio: Floats
    above: float

    @property
    def size(self) -> float:
        return abs(float(self.ratio.mean()))


def find_step(tones: Tones, first: int, last: int, icc: bytes | None, column: int | None = None) -> ToneStep | None:
    """The step at `column`, else at the column between first and last where it stands out most; indices into the
    columns of `tones`. One that does not stand out from the picture's own, that comes back to the level it left, or
    that is neither even nor straight, counts as none. None: too few columns."""
    logs = np.log(np.maximum(tones, 1e-4))
    seen = [_standing_out(logs, zone, first, last, column) for zone in ZONES_PX] if len(tones) else []
    found = [place for place in seen if place is not None]
    if not found:
        return None
    best = _narrowest(logs, found)
    if best.above < 1.0 or not 0 < best.size <= MOST_CAMERA_STEP:
        return ToneStep(best.column, 0.0, True)
    even, straight = _even(best), _straight(logs, best)
    further = [_further(logs, best, out) for out in LASTS_PX]
    lasts = all(_lies_in(share, 0.0) and error < best.size for share, error in further)
    if not (even or straight):
        return ToneStep(best.column, 0.0, True)
    if not all(_lies_in(share, 2 * error / best.size) for share, error in further):
        return ToneStep(best.column, 0.0, True)
    certain = even and straight and lasts and len(tones) >= LEAST_BLOCKS
    return ToneStep(best.column, float(np.quantile(_sizes(tones, best, icc), SHARE)), certain)


def _narrowest(logs: Tones, found: list[_Place]) -> _Place:
    """The place with the narrowest zone that stands out; a ramp reaches its full height only beyond the blend zone."""
    for place in found:
        wider, start = _across(logs, place.zone + 16)
        at = place.column - start
        full = abs(float(np.median(wider[:, at].mean(axis=1)))) if 0 <= at < wider.shape[1] else place.size
        if place.above >= 1.0 and place.size >= FULL * full:
            return place
    return max(found, key=lambda place: place.above)


def _standing_out(logs: Tones, zone: int, first: int, last: int, column: int | None) -> _Place | None:
    jumps, start = _across(logs, zone)
    first, last = max(first - start, 0), min(last - start, jumps.shape[1])
    if last <= first:
        return None
    middle, error = _median(jumps)
    score = np.abs(middle) / (error + LEAST_RATIO / STANDS_OUT)
    best = first + int(score[first:last].argmax()) if column is None else int(np.clip(column - start, first, last - 1))
    reach = 2 * NEAR_PX + zone
    others = np.delete(score, np.arange(max(best - reach, 0), min(best + reach, len(score))))
    if not others.size:
        return None
    least = max(STANDS_OUT, ABOVE_RIVAL * float(others.max()))
    each = jumps[:, best]
    return _Place(best + start, zone, each, np.median(each, axis=0), float(score[best]) / least)


def _median(jumps: Floats) -> tuple[Floats, Floats]:
    """Over the blocks, of the channels' mean: the median of each column and its standard error."""
    grey = jumps.mean(axis=2)
    middle = medians(grey, axis=0)
    spread = 1.4826 * medians(np.abs(grey - middle), axis=0)
    return middle, 1.2533 * spread / np.sqrt(max(len(grey) / BLOCKS_TOLD, 1.0))


def _even(place: _Place) -> bool:
    return float(np.median(np.abs((place.each - place.ratio).mean(axis=1)))) < EVEN * place.size


def _further(logs: Tones, place: _Place, out_px: int) -> tuple[float, float]:
    """Share of the step that is there further out on both sides, and the standard error of the level there."""
    jumps, start = _across(logs, place.zone + 2 * out_px)
    at = place.column - start
    if not 0 <= at < jumps.shape[1]:
        return 1.0, float("inf")
    middle, error = _median(jumps[:, at : at + 1])
    return float(middle[0]) / float(place.ratio.mean()), float(error[0])


def _lies_in(share: float, slack: float) -> bool:
    return LASTING[0] - slack <= share <= LASTING[1] + slack


def _straight(logs: Tones, place: _Place) -> bool:
    """Whether the step lies in the same column in the upper and in the lower blocks."""
    jumps, start = _across(logs, place.zone)
    reach = 3 * NEAR_PX + place.zone
    near = slice(max(place.column - start - reach, 0), place.column - start + reach + 1)
    sign = np.sign(place.ratio.mean())
    half = len(logs) // 2
    parts = [sign * np.median(part[:, near].mean(axis=2), axis=0) for part in (jumps[:half], jumps[-half:])]
    centres = [_centre(np.maximum(part, 0.0)) for part in parts]
    return half > 0 and abs(centres[0] - centres[1]) <= STRAIGHT_PX + place.zone / 6


def _centre(weights: Floats) -> float:
    """Centre of what rises above half of the highest."""
    high = np.maximum(weights - 0.5 * float(weights.max()), 0.0)
    return float((high * np.arange(len(high))).sum() / max(float(high.sum()), 1e-12))


def _across(values: Tones, zone: int) -> tuple[Floats, int]:
    """Mean of the NEAR_PX columns right of a zone centred on a column's left edge, less that of those left of it; and
    the first column for which there is such a difference."""
    sums = np.concatenate([np.zeros_like(values[:, :1]), np.cumsum(values, axis=1, dtype=np.float64)], axis=1)
    means = (sums[:, NEAR_PX:] - sums[:, :-NEAR_PX]) / NEAR_PX
    apart = NEAR_PX + zone
    return np.asarray(means[:, apart:] - means[:, :-apart], np.float64), NEAR_PX + zone // 2


def _sizes(tones: Tones, place: _Place, icc: bytes | None) -> Floats:
    """CIEDE2000 that the ratio makes of each block's own tone at the stitch."""
    left = tones[:, max(place.column - NEAR_PX, 0) : place.column + NEAR_PX].mean(axis=1)
    right = left * np.exp(place.ratio)
    coded = [np.rint(np.clip(side, 0, 1) * 65535).astype(np.uint16) for side in (left, right)]
    return delta_e_2000(to_lab(coded[0], icc), to_lab(coded[1], icc))
