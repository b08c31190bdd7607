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

from ..model import Frame, Reading, SeamSample, Where
from .band import Band
from .doubling import search_up_to
from .seam_beside import not_asked, shift_reading, step_reading, undecided
from .seam_ends import END_BLOCKS
from .seam_place import Place, blends_px, columns_inside, distinct, most_px, reaches, stitches_of
from .seam_profile import Sample
from .seam_search import LEAST_HINT, Ground, Suspects, around, ends_of, find, samples
from .seam_second import Second, look_again
from .seam_stretch import Stretch, blind, passes_for_softness, seen_again, speaking_most, stretches, tells_a_lift
from .seam_strip import BLOCK_ROWS, CHUNK_ROWS, Strip, lay_strips, whole_width
from .seam_verdict import (
    FAR_FAULT,
    NEAR_NOTE,
    SAME_SIZE,
    SMALL_PX,
    Verdict,
    largest_of,
    same_place,
    verdict_on,
    would_pass_for_softness,
)

if TYPE_CHECKING:
    from .outline import Outline

UNITS = {"doubling": "px", "lift": "mm", "step": "CIEDE2000", "shift": "px"}
COMPARED_CHUNKS = 16  # chunks of rows in which the stitch is compared with other columns
AS_ELSEWHERE = 0.9  # of the highest score of the other columns
PROVEN = 4.0  # the promise of a doubled stitch must be this much above what was found
LEAST_FOUND = 15.0  # and above this, as if found
HINT_CLEAR = 4.0  # times what the same rows speak elsewhere: where the repeats, and no more, hint at a place
JUDGED = 0.5  # share of the blocks of rows that must promise to show doubling, or be bare


@dataclass(frozen=True)
class _Parts:
    """The stretches of a stitch, and the one whose own rows speak most for a doubling."""

    every: Sequence[Stretch]
    speaking_most: tuple[Stretch, Second] | None


def _parts(own: Sequence[Strip], ground: Ground) -> _Parts:
    every = stretches(own, ground)
    return _Parts(every, speaking_most(own, every))


class SeamCheck:
    """Keeps narrow strips around each stitch and elsewhere; some 100 MB for a scan of 20 000 rows."""

    name: ClassVar[str] = "seam"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._search = search_up_to(most_px(frame), blends_px(frame))
        self._places = [self._place(stitch) for stitch in stitches_of(frame)]

    def _place(self, stitch: range) -> Place:
        width, chunks = self._frame.width_px, max(self._frame.height_px // CHUNK_ROWS, 1)
        every = max(chunks // COMPARED_CHUNKS, 1)
        if len(stitch) >= width:
            strips = whole_width(width, self._search, every * 2)
            return Place(stitch, strips, strips)
        own, controls = lay_strips((stitch.start, stitch.stop), width, self._search, every)
        return Place(stitch, [own], controls)

    def see(self, band: Band) -> None:
        for place in self._places:
            for strip in distinct(place):
                strip.see(band)

    def prepare(self) -> None:
        """Ends the strips, and makes even what is asked for again and again."""
        for place in self._places:
            for strip in distinct(place):
                strip.finish()
            for strip in place.own:
                for row in strip.greys if strip.keep_all else ():
                    strip.even(row)

    def readings(self, outline: Outline) -> Iterable[Reading]:
        if not self._frame.bed.seams_mm:
            return _nothing_asked("the bed has no stitch")
        columns = columns_inside(outline, self._frame.width_px)
        reached = [place for place in self._places if reaches(place, columns)]
        if not reached:
            return _nothing_asked("the work does not reach the stitch")
        self.prepare()
        each = [self._judge(place, outline) for place in reached]
        return [_worst(list(same)) for same in zip(*each, strict=True)]

    def _judge(self, place: Place, outline: Outline) -> list[Reading]:
        if not place.own:
            why = "the scan is too narrow to look for the stitch in"
            return [undecided(name, unit, why) for name, unit in UNITS.items()]
        box = outline.box
        ground = Ground(range(box.y, box.bottom), columns_inside(outline, self._frame.width_px), place.stitch)
        with ThreadPoolExecutor(1) as beside:
            parts = beside.submit(_parts, place.own, ground)  # asked wherever the whole shows nothing certain
            suspects = find(place.own, place.controls, ground)
            verdict = None if suspects is None else verdict_on(place, suspects, ground, self._search.lags_px[-1])
            known = verdict.mark.column if verdict is not None and verdict.certain else None
            shift = beside.submit(shift_reading, self._frame, place.own, box, place.stitch, known)
            doubling = self._doubling(place, ground, suspects, verdict)
            if suspects is not None and not (doubling.value and doubling.certain):
                doubling = _of_both(doubling, self._along(place, ground, suspects, parts.result()))
            step = step_reading(self._frame, place.own, ground, known)
            return [doubling, self._lift(doubling), step, shift.result()]

    def _doubling(self, place: Place, ground: Ground, suspects: Suspects | None, verdict: Verdict | None) -> Reading:
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
    def _left_open(place: Place, ground: Ground, suspects: Suspects) -> bool:
        """Whether a large displacement shows a good part of what a doubling would, and its rows do not refute it; where
        a small one shows more, and passes for softness, that is what is seen."""
        found = suspects.large
        if suspects.promise >= PROVEN * found.score:
            return False
        near = suspects.near
        if near.score > found.score and same_place(near, found) and would_pass_for_softness(near, near.px):
            return False
        again = look_again(around(place.own, found.column), found, ground.rows)
        return again.confirmed or not (again.refuted or would_pass_for_softness(again.mark, again.mark.px))

    def _along(self, place: Place, ground: Ground, suspects: Suspects, parts: _Parts) -> Reading | None:
        """What speaks against 'sound' in a stretch of the stitch; None when each of them is sound."""
        found = parts.speaking_most
        told = found if found and tells_a_lift(*found, len(place.own) == 1) else self._hinted(place, suspects)
        if told is not None:
            return self._stretch(place, ground, *told)
        open_ = found[0] if found is not None else blind(parts.every)
        if open_ is None:
            return None
        why = (
            "a stretch of the stitch looks doubled, but not clearly"
            if found
            else "a stretch holds too little structure"
        )
        where = self._where(Verdict(open_.mark, (), None, False, (open_.rows.start, open_.rows.stop)))
        return undecided("doubling", "px", why, where)

    @staticmethod
    def _hinted(place: Place, suspects: Suspects) -> tuple[Stretch, Second] | None:
        """The place where the repeats hint at a lift that its own rows confirm, and clearly."""
        large = [(mark, rows) for mark, rows in suspects.hints if mark.px >= SMALL_PX and mark.score >= LEAST_HINT]
        hints = [Stretch(rows, mark, 0.0, bare=False) for mark, rows in large]
        again = [(hint, seen_again(place.own, hint)) for hint in hints]
        told = (pair for pair in again if pair[1].confirmed and pair[1].speaks >= HINT_CLEAR * pair[1].rival)
        return next(told, None)

    def _stretch(self, place: Place, ground: Ground, stretch: Stretch, second: Second) -> Reading | None:
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
        px = largest_of(doubled) if doubled else second.mark.px
        if passes_for_softness(replace(mark, px=px)):
            return None
        lifted = ends_of(place.own, mark, along, px, ground.rows) or (stretch.rows.start, stretch.rows.stop)
        where = self._where(Verdict(mark, along, px, False, lifted))
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

    def _where(self, verdict: Verdict) -> Where:
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


def _of_both(whole: Reading, along: Reading | None) -> Reading:
    """What the whole height says, or a stretch of it where that is more: a doubling, a larger one than the whole has
    no certainty of, or a doubt where the whole is sound."""
    if along is None or (along.value is None and whole.value != 0.0):
        return whole
    return along if along.value is None or float(along.value) > float(whole.value or 0.0) else whole


def _certainty(speaks: float) -> float:
    """Of a block that is this much likelier one way than the other; rows are not quite independent of each other."""
    return float(1.0 - np.exp(-max(speaks, 0.0) / 8.0))


def _worst(same: list[Reading]) -> Reading:
    """Of the readings of several stitches: an undecided one unless another shows a fault; else the largest."""
    open_ones = [r for r in same if r.value is None]
    judged = [r for r in same if r.value is not None]
    largest = max(judged, key=lambda r: (r.certain, abs(float(r.value or 0.0))), default=None)
    if largest is not None and (not open_ones or float(largest.value or 0.0) >= 1.0):
        return largest
    return open_ones[0]


def _nothing_asked(why: str) -> list[Reading]:
    return [not_asked(name, unit, why) for name, unit in UNITS.items()]


CHECK = SeamCheck
