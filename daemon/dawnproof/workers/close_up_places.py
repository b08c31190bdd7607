"""Which places of a job are worth a look at 1:1: what was found, the cuts, the stitch, the darkest, the lightest and
the finest place. No place is shown twice: what lies in a picture that is shown already is named on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

import cv2
import numpy as np

from ..assemble.parts import JoinPlan
from ..model import MM_PER_INCH, Box, Finding, Level, Measured, Where
from ..policy import EXPLAINS, holds_back
from ..report.in_brief import in_brief
from .most_to_see import Shows, rows_to_show

TILE = Box(0, 0, 560, 380)
MOST = 14  # close-ups of one job
SAME = 0.5  # of a tile: what lies so far in another tile is shown by it
AROUND = 40  # px a tone or detail wants around it in another tile
EDGE_SHARE = 0.04  # of the work's sides: its edge is dark and sharp by itself
ALL_OVER = 0.9  # of the sides of a scan: a finding that covers so much has no place of its own
FALLBACK_PPI = 300.0


class Rank(IntEnum):
    """What is shown first where there is not room for all."""

    FAULT = 0
    UNDECIDED = 1
    CUT = 2
    STITCH = 3
    NOTE = 4
    DARKEST = 5
    LIGHTEST = 6
    FINEST = 7


TONES = {Rank.DARKEST: "darkest", Rank.LIGHTEST: "lightest", Rank.FINEST: "finest detail"}
_LEVELS = {Level.FAULT: Rank.FAULT, Level.UNDECIDED: Rank.UNDECIDED, Level.NOTE: Rank.NOTE}


@dataclass(frozen=True, slots=True)
class Wanted:
    """A place of one picture (`source`) in its pixels. `within`: the tile is kept inside this, where it is large
    enough; `weight`: of several places of one tone the heaviest is shown."""

    source: int
    rank: Rank
    words: str
    at: Box
    marked: bool = False
    within: Box | None = None
    weight: float = 0.0


@dataclass(frozen=True, slots=True)
class Chosen:
    """One close-up: the piece of its picture, what it shows, and the places to be marked in it. `plain_too`: it is
    shown without the marks as well, since a join is seen best where nothing points at it."""

    source: int
    tile: Box
    words: tuple[str, ...]
    marks: tuple[Box, ...]
    plain_too: bool = False


def of_scan(
    source: int, label: str, measured: Measured, findings: Sequence[Finding], shows: Shows = lambda box, px: px
) -> list[Wanted]:
    """Places of one scan: each finding with a place, the stitch where nothing was found there, tones and detail.
    `shows` tells along a stitch where most is to be seen; without it the largest value is shown."""
    shown = [f for f in findings if f.level in _LEVELS and f.where and _is_seen(f, measured)]
    found = [_finding(source, label, measured, finding, shows) for finding in shown]
    if not any(f.check == "seam" for f in shown):
        found += _stitch(source, label, measured)
    return found + _tones(source, label, measured)


def of_cuts(source: int, plan: JoinPlan, box: Box, sides: tuple[int, int]) -> list[Wanted]:
    """The middle of each cut of a join, on the master cut out at `box`, which is `sides` (width, height) large."""
    found = []
    for cut in plan.cuts:
        line = cut.polyline()
        x, y = line[len(line) // 2]
        long, wide = (TILE.height, 6) if cut.upright else (6, TILE.width)
        at = Box(round(x - box.x) - wide // 2, round(y - box.y) - long // 2, wide, long)
        inside = _cut_to(at, Box(0, 0, *sides))
        if inside.width > 0 and inside.height > 0:
            found.append(Wanted(source, Rank.CUT, f"the cut between {cut.a} and {cut.b}", inside, True))
    return found


def choose(wanted: Sequence[Wanted], sides: Sequence[tuple[int, int]], most: int = MOST) -> tuple[Chosen, ...]:
    """The close-ups, in the order of what matters; `sides` are width and height of each source."""
    chosen: list[Chosen] = []
    tones: set[Rank] = set()
    for one in sorted(wanted, key=lambda w: (w.rank, -w.weight)):
        tile = tile_around(one, sides[one.source])
        if one.rank in TONES:
            if one.rank in tones:  # a lighter place of another part
                continue
            tones.add(one.rank)
        twin = _covered(chosen, one.source, tile) or (_holding(chosen, one) if one.rank in TONES else None)
        if twin is not None:
            chosen[chosen.index(twin)] = _with(twin, one)
        elif len(chosen) < most:
            chosen.append(_new(one, tile))
    return tuple(chosen)


def tile_around(one: Wanted, sides: tuple[int, int]) -> Box:
    """The tile with the place in its middle, moved so that it lies on the picture, and on the work where it can."""
    width, height = min(TILE.width, sides[0]), min(TILE.height, sides[1])
    x, y = one.at.x + one.at.width // 2 - width // 2, one.at.y + one.at.height // 2 - height // 2
    frame = Box(0, 0, *sides)
    for limits in (one.within, frame) if one.within else (frame,):
        if limits.width >= width:
            x = min(max(x, limits.x), limits.right - width)
        if limits.height >= height:
            y = min(max(y, limits.y), limits.bottom - height)
    return Box(x, y, width, height)


def _is_seen(finding: Finding, measured: Measured) -> bool:
    """Whether a look at 1:1 shows anything of it: not of what covers the whole scan, nor of what only explains the
    doubling and could not be judged."""
    if finding.check == "crop" or finding.where is None:
        return False
    if finding.level is Level.UNDECIDED and ((finding.check, finding.name) in EXPLAINS or not holds_back(finding)):
        return False
    box = _pixels(finding.where, measured)
    return box.width < ALL_OVER * measured.width_px or box.height < ALL_OVER * measured.height_px


def _finding(source: int, label: str, measured: Measured, finding: Finding, shows: Shows) -> Wanted:
    where = finding.where
    assert where is not None
    reading = next((r for r in measured.readings if (r.check, r.name) == (finding.check, finding.name)), None)
    at, here_px = _best_seen(where, measured, shows)
    here = f", {here_px:.1f} px here" if here_px is not None and finding.name == "doubling" else ""
    return Wanted(source, _LEVELS[finding.level], f"{label}: {in_brief(finding, reading)}{here}", at, True)


def _best_seen(where: Where, measured: Measured, shows: Shows) -> tuple[Box, float | None]:
    """The place of a finding; of one that is longer than a tile only the rows where most of it is to be seen, with the
    displacement there where it is not the largest; or its middle where it is no stitch, and alike all along."""
    box = _pixels(where, measured)
    if box.height <= TILE.height:
        return box, None
    rows = TILE.height - 40
    if not where.profile:
        return _cut_to(Box(box.x, box.y + box.height // 2 - rows // 2, box.width, rows), box), None
    shown = rows_to_show(where, box, rows, (measured.ppi_y or FALLBACK_PPI) / MM_PER_INCH, shows)
    return _cut_to(Box(box.x, shown.row - rows // 2, box.width, rows), box), shown.px


def _stitch(source: int, label: str, measured: Measured) -> list[Wanted]:
    seam = next((r for r in measured.readings if (r.check, r.name) == ("seam", "doubling") and r.where), None)
    if seam is None or seam.where is None:
        return []
    work = _work(measured)
    x = round((seam.where.x_mm + seam.where.width_mm / 2) * (measured.ppi_x or FALLBACK_PPI) / MM_PER_INCH)
    return [Wanted(source, Rank.STITCH, f"{label}: the stitch", Box(x - 1, work.y + work.height // 2, 2, 2))]


def _tones(source: int, label: str, measured: Measured) -> list[Wanted]:
    """Darkest, lightest and most detailed places of the work, found on the small picture."""
    thumb = cv2.imdecode(np.frombuffer(measured.thumb, np.uint8), cv2.IMREAD_GRAYSCALE) if measured.thumb else None
    if thumb is None:
        return []
    work = _work(measured)
    step_x, step_y = measured.width_px / thumb.shape[1], measured.height_px / thumb.shape[0]
    edge_x, edge_y = round(EDGE_SHARE * work.width), round(EDGE_SHARE * work.height)
    left, top = int((work.x + edge_x) / step_x), int((work.y + edge_y) / step_y)
    inner = thumb[top : int((work.bottom - edge_y) / step_y), left : int((work.right - edge_x) / step_x)]
    inner = inner.astype(np.float32)
    if inner.size < 16:
        return []
    tone = cv2.blur(inner, (3, 3))
    busy = cv2.blur(cv2.absdiff(inner, cv2.GaussianBlur(inner, (0, 0), 2.0)), (7, 7))
    found = []
    for rank, strength in ((Rank.DARKEST, 255 - tone), (Rank.LIGHTEST, tone), (Rank.FINEST, busy)):
        row, column = (int(i) for i in np.unravel_index(int(np.argmax(strength)), strength.shape))
        at = Box(int((left + column + 0.5) * step_x), int((top + row + 0.5) * step_y), 2, 2)
        weight = float(strength[row, column])
        found.append(Wanted(source, rank, f"{label}: {TONES[rank]}", at, within=work, weight=weight))
    return found


def _work(measured: Measured) -> Box:
    return measured.crop.tight if measured.crop else Box(0, 0, measured.width_px, measured.height_px)


def _pixels(where: Where, measured: Measured) -> Box:
    across, along = (measured.ppi_x or FALLBACK_PPI) / MM_PER_INCH, (measured.ppi_y or FALLBACK_PPI) / MM_PER_INCH
    return Box(int(where.x_mm * across), int(where.y_mm * along), max(2, round(where.width_mm * across)),
               max(2, round(where.height_mm * along)))  # fmt: skip


def _covered(chosen: Sequence[Chosen], source: int, tile: Box) -> Chosen | None:
    """The close-up that shows most of the tile, if there is one."""
    for one in chosen:
        common = _cut_to(one.tile, tile)
        if one.source == source and max(common.width, 0) * max(common.height, 0) > SAME * tile.width * tile.height:
            return one
    return None


def _holding(chosen: Sequence[Chosen], wanted: Wanted) -> Chosen | None:
    """The close-up that shows this very place with a little around it, if there is one."""
    for one in chosen:
        x, y, tile = wanted.at.x, wanted.at.y, one.tile
        inside = tile.x + AROUND <= x <= tile.right - AROUND and tile.y + AROUND <= y <= tile.bottom - AROUND
        if one.source == wanted.source and inside:
            return one
    return None


def _new(one: Wanted, tile: Box) -> Chosen:
    return Chosen(one.source, tile, (one.words,), (one.at,) if one.marked else (), one.rank is Rank.CUT)


def _with(chosen: Chosen, one: Wanted) -> Chosen:
    """The same picture, that also shows `one`."""
    marks = (*chosen.marks, one.at) if one.marked and one.at not in chosen.marks else chosen.marks
    plain_too = chosen.plain_too or one.rank is Rank.CUT
    return replace(chosen, words=(*chosen.words, one.words), marks=marks, plain_too=plain_too)


def _cut_to(box: Box, limits: Box) -> Box:
    x, y = max(box.x, limits.x), max(box.y, limits.y)
    return Box(x, y, min(box.right, limits.right) - x, min(box.bottom, limits.bottom) - y)
