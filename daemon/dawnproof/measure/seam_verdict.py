"""What the likelihood near a stitch, the repeats of the whitened strip and the rows along it say of it together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .seam_near import MOST_NEAR_PX
from .seam_place import Place
from .seam_profile import Sample
from .seam_search import Ground, Mark, Suspects, around, ends_of, samples, samples_wide, speaking
from .seam_second import look_again
from .seam_strip import BLOCK_ROWS

# scores that chance does not reach on an undoubled stitch, and how far above the scan's own columns they must be
NEAR_FAULT, NEAR_NOTE = 60.0, 30.0
# in a blend zone a soft or calm passage can look like a small displacement: more is asked, or a second reading
BLENDED_FAULT, BLENDED_NOTE = 2000.0, 150.0
BLENDED_RIVAL_FAULT, BLENDED_RIVAL_NOTE = 6.0, 2.5
AGREES = 4.0  # score of the repeats at the same place that counts as a second reading
FAR_FAULT, FAR_NOTE = 18.0, 9.0
RIVAL_FAULT, RIVAL_NOTE = 2.0, 1.3
CONFIRMED = 40.0  # log-likelihood that the profile must speak for doubling
FOLLOWED = 0.35  # of the blocks: with fewer doubled the lag of the repeats is not trusted
CLEAR_PX = 5.0  # below this a soft passage or an edge may pass for a doubling: its rows are asked once more
SURE_BLENDED_PX = 3.0  # over a blend zone less than this is certain only where the repeats say so too
SAME_SIZE = 0.5  # share by which two readings of one displacement may differ
SMALL_PX = 2.0  # a doubt about less is none: it would be no fault


@dataclass(frozen=True)
class Verdict:
    """What was found at one stitch: the mark it rests on, its profile, and whether it is certain. px None: nothing."""

    mark: Mark
    profile: tuple[Sample, ...]
    px: float | None
    certain: bool
    ends: tuple[int, int] | None = None  # rows between which it is above half of its largest
    doubtful: bool = False  # something stands out, and the rows along the stitch do not confirm it


def verdict_on(place: Place, suspects: Suspects, ground: Ground, most_lag_px: float) -> Verdict:
    """What whole and repeats say of the stitch together, and the rows along it."""
    near, far = suspects.near, suspects.far
    near_seen, near_sure = _near_says(near, far)
    far_seen = _stands_out(far, FAR_NOTE, RIVAL_NOTE)
    mark = far if far_seen and (not near_seen or far.px > MOST_NEAR_PX) else near
    most = max(near.most_px, far.most_px if mark is far or abs(far.column - near.column) < 4 + near.blend_px else 0.0)
    most = min(1.25 * most + 5, most_lag_px)
    mark, along = samples(place.own, mark, ground.rows, most, closely=near_seen or far_seen)
    if far_seen and _share(along) < FOLLOWED:
        wide, everywhere = samples_wide(place.own, far, ground.rows)
        if speaking(everywhere) > speaking(along):
            mark, along = wide, everywhere
    doubled = [sample for sample in along if sample.px is not None]
    confirmed = speaking(along) >= CONFIRMED
    far_sure = _stands_out(far, FAR_FAULT, RIVAL_FAULT)
    # where the likelihood can judge it is asked too: bristles of a stroke and the edges of a crease repeat as well
    judged = far.most_px <= MOST_NEAR_PX
    far_sure = far_sure and (confirmed or not judged)
    if not (near_seen or far_seen):
        return Verdict(mark, along, None, False)
    if not (confirmed or far_sure):
        # over a short part of the stitch few rows speak: what stands out clearly is at least to be looked at
        if _refuted(place, mark, ground.rows):
            return Verdict(mark, along, None, False)
        large = mark.px >= SMALL_PX
        return Verdict(mark, along, mark.px if near_sure and large else None, False, doubtful=large and not near_sure)
    px = largest_of(doubled) if doubled else mark.px
    if mark.px > MOST_NEAR_PX and not SAME_SIZE * mark.px <= px <= (1 + SAME_SIZE) * mark.most_px:
        # the rows of a soft picture show a break there, of no size or another: they confirm nothing
        px, doubled, confirmed = mark.px, [], False
    ends = ends_of(place.own, mark, along, px, ground.rows)
    if ends is None and far_seen:
        rows = suspects.hints[0][1]
        ends = (rows.start, rows.stop) if rows else None
    agreed = confirmed and (same_place(near, far) or not judged)
    certain = (near_sure or (far_sure and agreed)) and _of_one_size(doubled, px)
    if doubled and (px < CLEAR_PX or not certain):
        rows = range(doubled[0].row, doubled[-1].row + BLOCK_ROWS)
        again = look_again(around(place.own, mark.column), replace(mark, px=px), rows)
        if again.refuted and not certain:
            return Verdict(mark, along, None, False)
        certain = certain and again.confirmed
    if mark.blend_px > 0 and px < SURE_BLENDED_PX:
        certain = certain and _stands_out(far, FAR_FAULT, RIVAL_FAULT) and same_place(near, far)
    if not certain and would_pass_for_softness(mark, px):
        return Verdict(mark, along, None, False)
    return Verdict(mark, along, px, certain, ends)


def _refuted(place: Place, mark: Mark, rows: range) -> bool:
    """Whether the rows, each by itself, speak against a doubling that was suspected there."""
    return look_again(around(place.own, mark.column), mark, rows).refuted


def _of_one_size(doubled: Sequence[Sample], px: float) -> bool:
    """Whether more than one block of rows shows about the size that is told of them all, if any shows one."""
    alike = [s for s in doubled if s.px is not None and abs(s.px - px) <= SAME_SIZE * px]
    return len(alike) >= min(2, len(doubled))


def would_pass_for_softness(mark: Mark, px: float) -> bool:
    """A displacement that would be no fault, over a blend zone: a soft passage of a picture shows the same, a little
    more in some of its rows."""
    return min(px, mark.px) < SMALL_PX and mark.blend_px > 0


def _near_says(near: Mark, far: Mark) -> tuple[bool, bool]:
    """Whether the likelihood sees a doubling, and whether it may be relied on alone."""
    agrees = far.score >= max(AGREES, RIVAL_NOTE * far.rival) and same_place(near, far)
    if near.blend_px == 0 or agrees:
        return _stands_out(near, NEAR_NOTE, RIVAL_NOTE), _stands_out(near, NEAR_FAULT, RIVAL_FAULT)
    seen = _stands_out(near, BLENDED_NOTE, BLENDED_RIVAL_NOTE)
    return seen, _stands_out(near, BLENDED_FAULT, BLENDED_RIVAL_FAULT)


def same_place(near: Mark, far: Mark) -> bool:
    """Whether both may be of one stitch."""
    return abs(far.column - near.column) <= 4 + near.blend_px / 2 + near.px


def _stands_out(mark: Mark, least: float, above_rival: float) -> bool:
    return mark.score >= max(least, above_rival * mark.rival)


def _share(along: tuple[Sample, ...]) -> float:
    return sum(sample.px is not None for sample in along) / max(len(along), 1)


def largest_of(samples: list[Sample]) -> float:
    """The largest displacement of the profile, each value smoothed with its neighbours."""
    px = np.array([sample.px for sample in samples], dtype=np.float64)
    padded = np.concatenate([px[:1], px, px[-1:]])
    smooth = np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0)
    return round(float(smooth.max()), 3)
