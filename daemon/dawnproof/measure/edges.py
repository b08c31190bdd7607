"""The straight sides of a work, to a fraction of a pixel of the overview.

A shadow deepens towards the work and is steepest at its edge, so an edge is taken where tone changes fastest; of all
lines that much of a side agrees on, the outermost is the edge (a painted frame or a mount lies further in).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from .edge_colour import Begins, colour_begins, coloured_before
from .edge_kink import shadow_end
from .edge_profiles import STEP_PX, Floats, Profiles, profiles_across, top_shift, votes_in
from .line_fit import robust_line

_TURNS = np.radians(np.arange(-2.0, 2.01, 0.1))
_LEAST_SAMPLES = 12
_SMOOTH_GRAIN = 0.5  # of the grain is left in the mean of so many neighbours
_STRAIGHT_PX = 1.5
_ROUGH_PX = 4.0
_LEAST_SUPPORT = 0.15
_PLAIN_SUPPORT = 0.34
_CLEAR_VOTE = 0.5
_CUT_PX = 0.35  # spread of the places that the colour shows: more is no cut edge
_LEAST_SHARE = 0.15  # of a work's colour, a pixel: a cut edge shows up to 0.4
_ALL_ALONG = 0.95  # of the places, where the colour must show the edge too
_SHADOW_PX = 4.0  # where a shadow's fastest darkening and the work's edge may lie apart


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
    sign: float = 0.0  # of the change of tone there, where nearly all of it agrees
    behind: float = 0.0  # how far the work begins behind the fastest change there: what a shadow takes

    def at(self, along: float) -> float:
        """How far inwards the line lies at a place along the side (pixels from its middle)."""
        return self.offset + self.slope * along


def find_side(
    picture: npt.NDArray[np.float32],
    middle: Floats,
    inwards: Floats,
    length: float,
    reach: tuple[float, float],
    grain: float,
    faint: bool = False,
) -> Side | None:
    """The edge near the line through `middle` (x, y) normal to the unit vector `inwards`, over `length` pixels.

    `reach`: how far outside (negative) and inside that line is searched. `grain`: the change of tone a pixel, summed
    over the channels, that the bare lid shows by its noise. `faint`: dark works on a dark lid show their edge in parts
    only, from end to end. None where the picture shows no straight edge, or the side lies outside the picture.
    """
    raw = profiles_across(picture, middle, inwards, length, reach)
    if len(raw.along) < _LEAST_SAMPLES:
        return None
    votes = votes_in(raw.change, grain)
    smooth = raw.smoothed()
    straight = votes_in(smooth.change, grain * _SMOOTH_GRAIN)
    line = _outermost(straight, smooth, _STRAIGHT_PX, faint)
    if line is not None:
        return _fit(smooth, _at_the_work(smooth, straight, line), 2 * grain * _SMOOTH_GRAIN)
    line = _outermost(votes, raw, _ROUGH_PX, faint)
    return None if line is None else _fit(raw, _at_the_work(raw, votes, line), 2 * grain)


@dataclass(frozen=True, slots=True)
class _Line:
    offset: float
    slope: float
    tolerance: float
    sign: float = 0.0


def _outermost(votes: Floats, profiles: Profiles, tolerance: float, faint: bool) -> _Line | None:
    """The line on which most samples meet their first change, coming from the lid.

    A work's edge lies beyond everything painted on it, on a straight line; the outermost strokes of a drawing whose
    paper cannot be told from the lid do not.
    """
    met = votes > _CLEAR_VOTE
    first = np.where(met.any(axis=1), profiles.depth[met.argmax(axis=1)], np.inf)
    line = _most_agreed(first, profiles.along, tolerance)
    off = first - line.offset - line.slope * profiles.along
    if not _agreed(np.abs(off) <= tolerance, off < -tolerance, tolerance, faint):
        return None
    return _Line(line.offset, line.slope, tolerance + 1.0)


def _most_agreed(first: Floats, along: Floats, tolerance: float) -> _Line:
    """The line of the grid of slopes and half-pixel offsets with most first changes within the tolerance."""
    known = np.isfinite(first)
    best, found = -1.0, _Line(0.0, 0.0, tolerance)
    if not known.any():
        return found
    steepest = float(np.abs(np.tan(_TURNS)).max()) * float(np.abs(along[known]).max())
    low = float(first[known].min()) - max(0.1 * float(np.ptp(along)), steepest) - 1  # the middle may be off theirs
    width = round(2 * tolerance / STEP_PX)
    for slope in np.tan(_TURNS):
        level = first[known] - slope * along[known]
        counts = np.bincount(((level - low) / STEP_PX).astype(int))
        sums = np.convolve(counts, np.ones(width))
        if sums.max() > best:
            best = float(sums.max())
            last = int(sums.argmax())
            found = _Line(low + (last - width / 2 + 1) * STEP_PX, float(slope), tolerance)
    return found


def _agreed(on_line: npt.NDArray[np.bool_], beyond: npt.NDArray[np.bool_], tolerance: float, faint: bool) -> bool:
    """Whether the line is an edge: a third of the side shows it, a faint one less of it but from end to end, and
    little lies beyond it. Rough edges are held to more, as many a line of a drawing lies within their tolerance."""
    share, outside = float(on_line.mean()), float(beyond.mean())
    if tolerance == _ROUGH_PX:
        return share >= 0.5 and outside < 0.1
    if outside > max(0.1, 0.5 * share):
        return False
    if share >= _PLAIN_SUPPORT or not faint:
        return share >= _PLAIN_SUPPORT
    pieces = [float(piece.mean()) for piece in np.array_split(on_line, 5)]
    return share >= _LEAST_SUPPORT and sum(piece > 0.5 * _LEAST_SUPPORT for piece in pieces) >= 4


def _at_the_work(profiles: Profiles, votes: Floats, line: _Line) -> _Line:
    """The line moved to where the work itself begins, with the sign of the change there (0 where it varies).

    Where the lid darkens in a shadow and a second change follows at once all along the side, the work begins there.
    """
    steps = np.arange(-3.0, _SHADOW_PX + 3.0, STEP_PX)
    at_line = line.offset + line.slope * profiles.along - profiles.depth[0]
    index = np.rint((at_line[:, None] + steps[None]) / STEP_PX).astype(int)
    index = np.clip(index, 0, profiles.change.shape[1] - 1)
    rows = np.arange(len(index))[:, None]
    seen = votes[rows, index] > _CLEAR_VOTE
    counts = np.convolve(seen.mean(axis=0), np.ones(3), mode="same")
    near = np.abs(steps) <= line.tolerance
    first = int(np.where(near, counts, -1.0).argmax())
    signed = profiles.signed[rows, index]
    if _darkens(signed[:, first], seen[:, first]):
        after = (steps > steps[first] + 1.0) & (steps <= steps[first] + _SHADOW_PX)
        second = int(np.where(after, counts, -1.0).argmax())
        strong = counts[second] > 0.6 * counts[first] and _as_strong(signed[:, first], signed[:, second])
        if strong and not coloured_before(profiles.step[rows, index], (first + second) // 2):
            apart = steps[second] - steps[first]
            tolerance = min(line.tolerance, max(1.0, apart / 2))
            return _Line(line.offset + steps[second], line.slope, tolerance, _sign(signed[:, second], seen[:, second]))
    return _Line(line.offset + steps[first], line.slope, line.tolerance, _sign(signed[:, first], seen[:, first]))


def _as_strong(shadow: Floats, edge: Floats) -> bool:
    """Whether the second change is one from shadow to work: brighter again, or darker by as much once more (a thread
    of a weave along the edge darkens by less)."""
    before, after = float(np.median(shadow)), float(np.median(edge))
    return after > -0.6 * before if after > 0 else after < 0.8 * before


def _darkens(signed: Floats, seen: npt.NDArray[np.bool_]) -> bool:
    return bool(seen.any()) and float((signed[seen] < 0).mean()) > 0.9


def _sign(signed: Floats, seen: npt.NDArray[np.bool_]) -> float:
    """The sign nearly all samples agree on, else 0."""
    if not seen.any():
        return 0.0
    share = float((signed[seen] > 0).mean())
    return 1.0 if share > 0.9 else -1.0 if share < 0.1 else 0.0


def _fit(profiles: Profiles, line: _Line, least: float) -> Side | None:
    places = _places(profiles, line, least)
    if line.sign == 0.0:
        line, places = _lit_again(profiles, line, places, least)
    good = np.isfinite(places)
    if good.sum() < 8:
        return None
    x, y = profiles.along[good], places[good]
    offset, slope, spread = robust_line(x, y)
    support = float(good.mean())
    # where shadow and edge are met by turns, the colour is sharp along the line only
    for about in (offset + slope * x, y):
        begins = colour_begins(profiles.step[good], profiles.depth, about)
        if begins is not None:
            coloured = _by_colour(profiles, _Line(offset + begins.inwards, slope, line.tolerance, 1.0), begins)
            if coloured.support >= _ALL_ALONG * support and coloured.spread <= min(spread, _CUT_PX):
                return coloured
    behind = shadow_end(profiles.step[good], profiles.depth, y) if begins is None else begins.inwards
    return Side(offset + behind, slope, x, y + behind, support, spread, line.sign, behind)


def _by_colour(profiles: Profiles, line: _Line, begins: Begins) -> Side:
    """The side by the work's colour alone, which no shadow and nothing pale hides."""
    depth = _places(Profiles(begins.share(profiles.step), profiles.along, profiles.depth), line, 3 * _LEAST_SHARE)
    good = np.isfinite(depth)
    if good.sum() < _LEAST_SAMPLES:
        return Side(line.offset, line.slope, profiles.along[good], depth[good], 0.0, np.inf)
    x, y = profiles.along[good], depth[good]
    offset, slope, spread = robust_line(x, y)
    return Side(offset, slope, x, y, float(good.mean()), spread)


def _lit_again(profiles: Profiles, line: _Line, places: Floats, least: float) -> tuple[_Line, Floats]:
    """Where a shadow's darkening and the lighter work behind it are met by turns, the work alone: it lies straight."""
    lighter = replace(line, sign=1.0)
    lit = _places(profiles, lighter, least)
    both = np.isfinite(places) & np.isfinite(lit)
    if both.sum() < max(8.0, 0.9 * np.isfinite(places).sum()):
        return line, places
    straighter = (
        robust_line(profiles.along[both], lit[both])[2] < 0.5 * robust_line(profiles.along[both], places[both])[2]
    )
    return (lighter, lit) if straighter and (lit - places)[both].mean() > 0 else (line, places)


def _places(profiles: Profiles, line: _Line, least: float) -> Floats:
    """Sub-pixel place of the fastest change near the line in each sample; NaN where there is none."""
    depth = profiles.depth
    at_line = line.offset + line.slope * profiles.along
    near = np.abs(depth[None] - at_line[:, None]) <= line.tolerance
    change = profiles.change if line.sign == 0 else 3 * line.sign * profiles.signed
    strong = np.where(near, change, 0.0)
    top = np.clip(strong.argmax(axis=1), 1, len(depth) - 2)
    places = depth[top] + top_shift(change, top)
    places[strong.max(axis=1) <= least] = np.nan
    return np.asarray(places)
