"""The stitch between two line cameras: doubling (the work was lifted there), tone step and vertical shift.

Content that is missing at a stitch (a surface below the glass plane, a negative displacement) is not read: against an
edge of the picture itself it speaks with 0.01 to 0.06 nats a row, a doubling of 5 px with 0.3 to 1.2 (the divergence of
the two hypotheses, `Form.told_from`, on ten test pictures), so nothing tells it from an edge in a usual scan.

A reading with value None is `certain=False` when the question does not arise (a bed without a stitch, a work that does
not reach it, a tone step where no place of the stitch is known) and `certain=True` when the stitch could not be judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from ..model import MM_PER_INCH, Frame, Reading, SeamSample, Where
from .band import Band
from .doubling import search_up_to
from .seam_beside import not_asked, shift_reading, step_reading, undecided
from .seam_near import MOST_NEAR_PX
from .seam_profile import END_BLOCKS, Sample
from .seam_search import LEAST_HINT, Ground, Mark, Suspects, around, ends_of, find, samples, samples_wide, speaking
from .seam_second import Second, look_again
from .seam_stretch import Stretch, blind, passes_for_softness, seen_again, speaking_most, stretches
from .seam_strip import BLOCK_ROWS, CHUNK_ROWS, Strip, lay_strips, whole_width

if TYPE_CHECKING:
    from .outline import Outline

BLENDS_PX = (0.0, 16.0, 40.0)
MOST_DOUBLING_MM = 2.8  # sideways; a lift of about 5 mm on a usual bed
COMPARED_CHUNKS = 16  # chunks of rows in which the stitch is compared with other columns
FULL_WIDTH_MM = 3.0  # a scan this much narrower than the bed still shows all of it

# scores that chance does not reach on an undoubled stitch, and how far above the scan's own columns they must be
NEAR_FAULT, NEAR_NOTE = 60.0, 30.0
# in a blend zone a soft or calm passage can look like a small displacement: more is asked, or a second reading
BLENDED_FAULT, BLENDED_NOTE = 2000.0, 150.0
BLENDED_RIVAL_FAULT, BLENDED_RIVAL_NOTE = 6.0, 2.5
AGREES = 4.0  # score of the repeats at the same place that counts as a second reading
FAR_FAULT, FAR_NOTE = 18.0, 9.0
RIVAL_FAULT, RIVAL_NOTE = 2.0, 1.3
AS_ELSEWHERE = 0.9  # of the highest score of the other columns
CONFIRMED = 40.0  # log-likelihood that the profile must speak for doubling
FOLLOWED = 0.35  # of the blocks: with fewer doubled the lag of the repeats is not trusted
PROVEN = 4.0  # the promise of a doubled stitch must be this much above what was found
CLEAR_PX = 5.0  # below this a soft passage or an edge may pass for a doubling: its rows are asked once more
LEAST_FOUND = 15.0  # and above this, as if found
HINT_CLEAR = 4.0  # times what the same rows speak elsewhere: where the repeats, and no more, hint at a place
SURE_BLENDED_PX = 3.0  # over a blend zone less than this is certain only where the repeats say so too
SAME_SIZE = 0.5  # share by which two readings of one displacement may differ
SMALL_PX = 2.0  # a doubt about less is none: it would be no fault
EDGE_PX = 40  # from the work's edge: what is looked at around a column must not hold it
JUDGED = 0.5  # share of the blocks of rows that must promise to show doubling, or be bare


@dataclass(frozen=True)
class _Verdict:
    """What was found at one stitch: the mark it rests on, its profile, and whether it is certain. px None: nothing."""

    mark: Mark
    profile: tuple[Sample, ...]
    px: float | None
    certain: bool
    ends: tuple[int, int] | None = None  # rows between which it is above half of its largest
    doubtful: bool = False  # something stands out, and the rows along the stitch do not confirm it


@dataclass(frozen=True)
class _Place:
    """One stitch of the bed: the columns it may lie in, its strip and those to compare it with."""

    stitch: range
    own: list[Strip]
    controls: list[Strip]


class SeamCheck:
    """Keeps narrow strips around each stitch and elsewhere; some 100 MB for a scan of 20 000 rows."""

    name: ClassVar[str] = "seam"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._search = search_up_to(_most_px(frame), _blends_px(frame))
        self._places = [self._place(stitch) for stitch in _stitches(frame)]

    def _place(self, stitch: range) -> _Place:
        width, chunks = self._frame.width_px, max(self._frame.height_px // CHUNK_ROWS, 1)
        every = max(chunks // COMPARED_CHUNKS, 1)
        if len(stitch) >= width:
            strips = whole_width(width, self._search, every * 2)
            return _Place(stitch, strips, strips)
        own, controls = lay_strips((stitch.start, stitch.stop), width, self._search, every)
        return _Place(stitch, [own], controls)

    def see(self, band: Band) -> None:
        for place in self._places:
            for strip in _distinct(place):
                strip.see(band)

    def prepare(self) -> None:
        """Ends the strips, and makes even what is asked for again and again."""
        for place in self._places:
            for strip in _distinct(place):
                strip.finish()
            for strip in place.own:
                for row in strip.greys if strip.keep_all else ():
                    strip.even(row)

    def readings(self, outline: Outline) -> Iterable[Reading]:
        if not self._frame.bed.seams_mm:
            return _nothing_asked("the bed has no stitch")
        columns = _inside(outline, self._frame.width_px)
        reached = [place for place in self._places if _reaches(place, columns)]
        if not reached:
            return _nothing_asked("the work does not reach the stitch")
        self.prepare()
        each = [self._judge(place, outline) for place in reached]
        return [_worst(list(same)) for same in zip(*each, strict=True)]

    def _judge(self, place: _Place, outline: Outline) -> list[Reading]:
        if not place.own:
            why = "the scan is too narrow to look for the stitch in"
            units = {"doubling": "px", "lift": "mm", "step": "CIEDE2000", "shift": "px"}
            return [undecided(name, unit, why) for name, unit in units.items()]
        box = outline.box
        ground = Ground(range(box.y, box.bottom), _inside(outline, self._frame.width_px), place.stitch)
        with ThreadPoolExecutor(1) as beside:
            every = beside.submit(stretches, place.own, ground)  # looked at wherever the whole shows nothing
            suspects = find(place.own, place.controls, ground)
            verdict = None if suspects is None else self._verdict(place, suspects, ground)
            known = verdict.mark.column if verdict is not None and verdict.certain else None
            step = beside.submit(step_reading, self._frame, place.own, ground, known)
            shift = beside.submit(shift_reading, self._frame, place.own, box, place.stitch, known)
            doubling = self._doubling(place, ground, suspects, verdict)
            if suspects is not None and not doubling.value:
                along = self._along(place, ground, suspects, every.result())
                doubling = doubling if along is None or (doubling.value is None and along.value is None) else along
            return [doubling, self._lift(doubling), step.result(), shift.result()]

    def _verdict(self, place: _Place, suspects: Suspects, ground: Ground) -> _Verdict:
        near, far = suspects.near, suspects.far
        near_seen, near_sure = _near_says(near, far)
        far_seen = _stands_out(far, FAR_NOTE, RIVAL_NOTE)
        mark = far if far_seen and (not near_seen or far.px > MOST_NEAR_PX) else near
        most = max(
            near.most_px, far.most_px if mark is far or abs(far.column - near.column) < 4 + near.blend_px else 0.0
        )
        most = min(1.25 * most + 5, self._search.lags_px[-1])
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
            return _Verdict(mark, along, None, False)
        if not (confirmed or far_sure):
            # over a short part of the stitch few rows speak: what stands out clearly is at least to be looked at
            if _refuted(place, mark, ground.rows):
                return _Verdict(mark, along, None, False)
            large = mark.px >= SMALL_PX
            return _Verdict(
                mark, along, mark.px if near_sure and large else None, False, doubtful=large and not near_sure
            )
        px = _largest(doubled) if doubled else mark.px
        if mark.px > MOST_NEAR_PX and not SAME_SIZE * mark.px <= px <= (1 + SAME_SIZE) * mark.most_px:
            px, doubled = mark.px, []  # the rows of a soft picture show a break there, of no size; the repeats have one
        ends = ends_of(place.own, mark, along, px, ground.rows)
        if ends is None and far_seen:
            rows = suspects.hints[0][1]
            ends = (rows.start, rows.stop) if rows else None
        agreed = confirmed and (_same_place(near, far) or not judged)
        certain = (near_sure or (far_sure and agreed)) and _of_one_size(doubled, px)
        if doubled and (px < CLEAR_PX or not certain):
            rows = range(doubled[0].row, doubled[-1].row + BLOCK_ROWS)
            again = look_again(around(place.own, mark.column), replace(mark, px=px), rows)
            if again.refuted and not certain:
                return _Verdict(mark, along, None, False)
            certain = certain and again.confirmed
        if mark.blend_px > 0 and px < SURE_BLENDED_PX:
            certain = certain and _stands_out(far, FAR_FAULT, RIVAL_FAULT) and _same_place(near, far)
        if not certain and _passes_for_softness(mark, px):
            return _Verdict(mark, along, None, False)
        return _Verdict(mark, along, px, certain, ends)

    def _doubling(self, place: _Place, ground: Ground, suspects: Suspects | None, verdict: _Verdict | None) -> Reading:
        if suspects is None or verdict is None:
            return undecided("doubling", "px", "too little of the work to compare the stitch with")
        where = self._where(verdict)
        if verdict.px is not None:
            sure = 0.97 if verdict.certain else 0.6
            return Reading("seam", "doubling", verdict.px, "px", sure, where, certain=verdict.certain)
        # the likelihood promises nothing of large displacements: repeats as strong as anywhere leave them open
        repeats = suspects.far.score >= max(FAR_FAULT, AS_ELSEWHERE * suspects.far.rival)
        open_ = verdict.doubtful or repeats
        proven = suspects.judged >= JUDGED and suspects.promise >= PROVEN * LEAST_FOUND
        if not open_ and proven and not self._left_open(place, ground, suspects):
            return Reading("seam", "doubling", 0.0, "px", 0.97, where)
        why = "too little structure at the stitch to tell doubling from the picture"
        if verdict.doubtful:
            why = "something at the stitch looks doubled, but the rows along it do not confirm it"
        elif repeats or suspects.near.rival > NEAR_NOTE:
            why = "other places of the picture look just like a doubled stitch"
        return undecided("doubling", "px", why, where)

    @staticmethod
    def _left_open(place: _Place, ground: Ground, suspects: Suspects) -> bool:
        """Whether a large displacement shows a good part of what a doubling would, and its rows do not refute it."""
        found = suspects.large
        if suspects.promise >= PROVEN * found.score:
            return False
        again = look_again(around(place.own, found.column), found, ground.rows)
        return again.confirmed or not (again.refuted or _passes_for_softness(again.mark, again.mark.px))

    def _along(self, place: _Place, ground: Ground, suspects: Suspects, every: Sequence[Stretch]) -> Reading | None:
        """What speaks against 'sound' in a stretch of the stitch; None when each of them is sound."""
        found = speaking_most(place.own, every)
        if not (found is not None and found[1].confirmed):
            hints = [
                Stretch(r, m, 0.0, bare=False) for m, r in suspects.hints if m.px >= SMALL_PX and m.score >= LEAST_HINT
            ]
            again = [(hint, seen_again(place.own, hint)) for hint in hints]
            told = (pair for pair in again if pair[1].confirmed and pair[1].speaks >= HINT_CLEAR * pair[1].rival)
            found = next(told, found)
        if found is not None and found[1].confirmed:
            return self._stretch(place, ground, *found)
        open_ = found[0] if found is not None else blind(every)
        if open_ is None:
            return None
        why = (
            "a stretch of the stitch looks doubled, but not clearly"
            if found
            else "a stretch holds too little structure"
        )
        where = self._where(_Verdict(open_.mark, (), None, False, (open_.rows.start, open_.rows.stop)))
        return undecided("doubling", "px", why, where)

    def _stretch(self, place: _Place, ground: Ground, stretch: Stretch, second: Second) -> Reading | None:
        """A lift over a part of the stitch, with its size and its ends; None when it may be a soft passage."""
        mark, along = samples(place.own, second.mark, ground.rows, 1.25 * second.mark.px + 5)
        reach = END_BLOCKS * BLOCK_ROWS
        near = range(stretch.rows.start - reach, stretch.rows.stop + reach)
        # unlike sharpness of the two views passes for a small displacement in the profile
        along = tuple(
            s
            for s in along
            if s.row in near and (s.px is None or abs(s.px - second.mark.px) <= SAME_SIZE * second.mark.px)
        )
        doubled = [sample for sample in along if sample.px is not None]
        px = _largest(doubled) if doubled else second.mark.px
        if passes_for_softness(replace(mark, px=px)):
            return None
        lifted = ends_of(place.own, mark, along, px, ground.rows) or (stretch.rows.start, stretch.rows.stop)
        where = self._where(_Verdict(mark, along, px, False, lifted))
        return Reading("seam", "doubling", px, "px", 0.6, where, certain=False)

    def _lift(self, doubling: Reading) -> Reading:
        if doubling.value is None:
            return undecided("lift", "mm", doubling.why, doubling.where)
        mm = self._lift_mm(float(doubling.value))
        if mm is None:
            return undecided("lift", "mm", "the bed's parallax is not calibrated", doubling.where)
        return Reading("seam", "lift", mm, "mm", doubling.sure, doubling.where, certain=doubling.certain)

    def _lift_mm(self, px: float) -> float | None:
        if not self._frame.bed.parallax or not self._frame.ppi_x:
            return None
        return round(self._frame.mm_x(px) / self._frame.bed.parallax, 4)

    def _where(self, verdict: _Verdict) -> Where:
        frame = self._frame
        doubled = [s for s in verdict.profile if s.px is not None] if verdict.px is not None else []
        largest = max((s.px or 0.0 for s in doubled), default=0.0)
        rows = verdict.profile
        whole = (rows[0].row, rows[-1].row + BLOCK_ROWS) if rows else (0, frame.height_px)
        top, bottom = verdict.ends or whole
        half = max(verdict.mark.blend_px / 2 + largest, 4.0)
        place = frame.where(verdict.mark.column - half, top, 2 * half, bottom - top)
        profile = tuple(self._sample(sample, bool(doubled)) for sample in verdict.profile)
        return Where(place.x_mm, place.y_mm, place.width_mm, place.height_mm, profile)

    def _sample(self, sample: Sample, doubled: bool) -> SeamSample:
        y_mm = round(self._frame.mm_y(sample.row + BLOCK_ROWS / 2), 3)
        if sample.px is not None and doubled:
            px = round(sample.px, 3)
            return SeamSample(y_mm, px, self._lift_mm(px), round(_certainty(sample.speaks), 3))
        sure = _certainty(-sample.speaks)
        return (
            SeamSample(y_mm, 0.0, self._lift_mm(0.0), round(sure, 3))
            if sure > 0.5
            else SeamSample(y_mm, None, None, 0.0)
        )


def _refuted(place: _Place, mark: Mark, rows: range) -> bool:
    """Whether the rows, each by itself, speak against a doubling that was suspected there."""
    return look_again(around(place.own, mark.column), mark, rows).refuted


def _of_one_size(doubled: Sequence[Sample], px: float) -> bool:
    """Whether more than one block of rows shows about the size that is told of them all, if any shows one."""
    alike = [s for s in doubled if s.px is not None and abs(s.px - px) <= SAME_SIZE * px]
    return len(alike) >= min(2, len(doubled))


def _passes_for_softness(mark: Mark, px: float) -> bool:
    """A displacement that would be no fault, over a blend zone: a soft passage of a picture shows the same."""
    return px < SMALL_PX and mark.blend_px > 0


def _near_says(near: Mark, far: Mark) -> tuple[bool, bool]:
    """Whether the likelihood sees a doubling, and whether it may be relied on alone."""
    agrees = far.score >= max(AGREES, RIVAL_NOTE * far.rival) and _same_place(near, far)
    if near.blend_px == 0 or agrees:
        return _stands_out(near, NEAR_NOTE, RIVAL_NOTE), _stands_out(near, NEAR_FAULT, RIVAL_FAULT)
    seen = _stands_out(near, BLENDED_NOTE, BLENDED_RIVAL_NOTE)
    return seen, _stands_out(near, BLENDED_FAULT, BLENDED_RIVAL_FAULT)


def _same_place(near: Mark, far: Mark) -> bool:
    return abs(far.column - near.column) <= 4 + near.blend_px / 2 + near.px


def _stands_out(mark: Mark, least: float, above_rival: float) -> bool:
    return mark.score >= max(least, above_rival * mark.rival)


def _share(along: tuple[Sample, ...]) -> float:
    return sum(sample.px is not None for sample in along) / max(len(along), 1)


def _certainty(speaks: float) -> float:
    """Of a block that is this much likelier one way than the other; rows are not quite independent of each other."""
    return float(1.0 - np.exp(-max(speaks, 0.0) / 8.0))


def _largest(samples: list[Sample]) -> float:
    """The largest displacement of the profile, each value smoothed with its neighbours."""
    px = np.array([sample.px for sample in samples], dtype=np.float64)
    padded = np.concatenate([px[:1], px, px[-1:]])
    smooth = np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0)
    return round(float(smooth.max()), 3)


def _most_px(frame: Frame) -> float:
    return float(np.clip(frame.ppi_x or 400.0, 430.0, 660.0) * MOST_DOUBLING_MM / MM_PER_INCH)


def _blends_px(frame: Frame) -> tuple[float, ...]:
    if frame.bed.blend_mm <= 0 or not frame.ppi_x:
        return BLENDS_PX
    blend = frame.bed.blend_mm * frame.ppi_x / MM_PER_INCH
    return (round(0.7 * blend, 1), round(blend, 1), round(1.4 * blend, 1))


def _stitches(frame: Frame) -> list[range]:
    """Columns in which each stitch may lie; the whole width when the scan's place on the bed is not known."""
    bed = frame.bed
    if not bed.seams_mm:
        return []
    narrower = frame.ppi_x is None or frame.mm_x(frame.width_px) < bed.width_mm - FULL_WIDTH_MM
    if (frame.x_position_mm is None and narrower) or frame.ppi_x is None:
        return [range(frame.width_px)]
    px_per_mm = frame.ppi_x / MM_PER_INCH
    reach = max(bed.seam_tolerance_mm, 0.2)
    places = [(seam - (frame.x_position_mm or 0.0)) for seam in bed.seams_mm]
    found = [
        range(max(int((p - reach) * px_per_mm), 0), min(int((p + reach) * px_per_mm) + 2, frame.width_px))
        for p in places
    ]
    return [stitch for stitch in found if len(stitch) > 0]


def _inside(outline: Outline, width_px: int) -> range:
    """Columns that lie on the work in every row, clear of its own edges: a straight edge that is sharper than the
    picture is as good a stitch as any. Where the work runs out of the frame there is no edge."""
    (left_top, _), (right_top, _), (right_bottom, _), (left_bottom, _) = outline.corners
    box = outline.box
    first = box.x if box.x <= 1 else int(max(left_top, left_bottom, box.x)) + EDGE_PX
    past = box.right if box.right >= width_px - 1 else int(min(right_top, right_bottom, box.right)) - EDGE_PX
    return range(first, max(first, past))


def _distinct(place: _Place) -> list[Strip]:
    return place.own if place.own is place.controls else [*place.own, *place.controls]


def _reaches(place: _Place, columns: range) -> bool:
    return max(place.stitch.start, columns.start) + 8 < min(place.stitch.stop, columns.stop)


def _worst(same: list[Reading]) -> Reading:
    """Of the readings of several stitches: an undecided one unless another shows a fault; else the largest."""
    open_ones = [r for r in same if r.value is None]
    judged = [r for r in same if r.value is not None]
    largest = max(judged, key=lambda r: (r.certain, abs(float(r.value or 0.0))), default=None)
    if largest is not None and (not open_ones or float(largest.value or 0.0) >= 1.0):
        return largest
    return open_ones[0]


def _nothing_asked(why: str) -> list[Reading]:
    units = {"doubling": "px", "lift": "mm", "step": "CIEDE2000", "shift": "px"}
    return [not_asked(name, unit, why) for name, unit in units.items()]


CHECK = SeamCheck
