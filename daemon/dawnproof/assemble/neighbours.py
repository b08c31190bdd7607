"""Which part touches which: names say what to try first, the images decide."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from ..errors import JoinRefused
from ..measure.relief import Relief
from .area import common_area, share_and_width
from .laying import relief_of
from .layout import chained, outward
from .parts import JoinPart, JoinSettings
from .register import PairFit, bend_between
from .search import LIT_OTHERWISE, Touch, overview_factor, touching, touching_at
from .view import View, compose, inverse

_GRID = re.compile(r"r(\d+)c(\d+)", re.IGNORECASE)
MM_PER_INCH = 25.4
_LEAST_AREA = 0.8  # of the least share: parts that touch at a corner are no neighbours


@dataclass
class Neighbours:
    """What the images say: views as they fit (perhaps turned), the pairs that touch, the relief of each."""

    views: list[View]
    pairs: dict[tuple[int, int], PairFit] = field(default_factory=dict)
    relief: dict[tuple[int, int], float | None] = field(default_factory=dict)


def place_of(label: str) -> tuple[int, int] | None:
    """Row and column a name promises; None where it promises none."""
    simple = {"L": (0, 0), "R": (0, 1), "T": (0, 0), "B": (1, 0)}
    if label.upper() in simple:
        return simple[label.upper()]
    grid = _GRID.fullmatch(label)
    return (int(grid[1]) - 1, int(grid[2]) - 1) if grid else None


def expected_pairs(labels: Sequence[str]) -> list[tuple[int, int]]:
    """Pairs of indices that should touch by their names, else all pairs."""
    spots = [place_of(label) for label in labels]
    every = list(combinations(range(len(labels)), 2))
    if None in spots:
        return every
    found = []
    for i, j in every:
        (ri, ci), (rj, cj) = spots[i] or (0, 0), spots[j] or (0, 0)
        if abs(ri - rj) + abs(ci - cj) == 1:
            found.append((i, j))
    return found or every


def find_neighbours(parts: Sequence[JoinPart], settings: JoinSettings, progress: Callable[[float], None]) -> Neighbours:
    """Tries the pairs the names promise, then the rest until all parts hang together; refuses otherwise."""
    views = [View(part) for part in parts]
    found = Neighbours(views)
    factor = overview_factor(views)
    every = list(combinations(range(len(parts)), 2))
    promised = expected_pairs([part.label for part in parts])
    failures: dict[tuple[int, int], Touch] = {}
    fixed: set[int] = {0}
    # where names promise nothing most pairs are apart, and proving that takes longest: first what is found at once
    quick = len(promised) == len(every) and len(every) > 1
    for done, pair in enumerate(promised):
        _try(found, pair, factor, settings, fixed, failures, quick)
        progress((done + 1) / len(promised))
    for pair in [*promised, *(p for p in every if p not in promised)] if quick else every:
        together = outward(len(parts), found.pairs, pair[0])
        if len(together) == len(parts):
            break
        if pair[1] not in together and not (pair in failures and not quick):
            _try(found, pair, factor, settings, fixed, failures)
    reached = outward(len(parts), found.pairs, 0)
    if len(reached) < len(parts):
        raise _apart(parts, reached, failures, settings)
    _complete(found, every, factor, settings)
    return found


def _complete(found: Neighbours, every: Sequence[tuple[int, int]], factor: int, settings: JoinSettings) -> None:
    """Pairs that must lie on one another by the places found so far, but were not looked at or not seen."""
    order = outward(len(found.views), found.pairs, 0)
    places = chained(found.pairs, order, len(found.views))
    least = settings.least_share
    for a, b in every:
        if (a, b) in found.pairs:
            continue
        onto = compose(inverse(places[b]), places[a])
        if share_and_width(found.views[a], found.views[b], onto)[0] < least:
            continue
        fit = touching_at(found.views[a], found.views[b], onto, factor)
        if fit is not None and fit.share >= least:
            found.pairs[a, b] = fit
            found.relief[a, b] = relief_of(found.views[a], found.views[b], fit).likeness


def _try(
    found: Neighbours,
    pair: tuple[int, int],
    factor: int,
    settings: JoinSettings,
    fixed: set[int],
    failures: dict[tuple[int, int], Touch],
    quick: bool = False,
) -> None:
    a, b = pair
    touch = touching(found.views[a], found.views[b], factor, may_turn=b not in fixed, quick=quick)
    if touch.code == LIT_OTHERWISE:
        raise _turned(found.views[a], touch.second, "the same relief is seen under light from another side")
    if touch.fit is None:
        failures[pair] = touch
        return
    relief = relief_of(found.views[a], touch.second, touch.fit)
    if touch.second.turns != found.views[a].turns and _lit_wrong(relief, settings):
        seen = f"relief correlation {relief.likeness or 0:.2f}, {relief.differing:.0%} of the fine detail differs"
        raise _turned(found.views[a], touch.second, seen)
    if touch.code == "coarse":
        failures[pair] = Touch(None, touch.second, "unrelated")
        return
    _refuse_extremes(found.views[a], touch, settings)
    wide = narrow_share(found.views[a], touch.second, touch.fit)
    if wide < settings.least_share or touch.fit.share < _LEAST_AREA * settings.least_share:
        failures[pair] = Touch(None, touch.second, "overlap", min(wide, touch.fit.share))
        return
    found.views[b] = touch.second
    fixed.update(pair)
    found.pairs[pair] = touch.fit
    found.relief[pair] = relief.likeness


def narrow_share(first: View, second: View, fit: PairFit) -> float:
    """How wide the overlap is where it is narrow, as a share of the smaller part's extent in that direction. A turn or
    a shift along the overlap takes from its area, not from this."""
    extent = np.ptp(common_area(first, second, fit.matrix), axis=0)
    upright = extent[1] >= extent[0]
    sides = [view.work.width if upright else view.work.height for view in (first, second)]
    return fit.across_px / min(sides)


def _turned(first: View, second: View, seen: str) -> JoinRefused:
    return JoinRefused(
        "turned",
        f"{second.name} was laid down turned by {90 * second.turns} degrees against {first.name}: the relief is lit"
        f" from the wrong side ({seen})",
        "scan all parts the same way up; if the bed does not allow it, set both lamp banks equal and scan all"
        " parts again",
    )


def _lit_wrong(relief: Relief, settings: JoinSettings) -> bool:
    if relief.likeness is None:
        return False
    return relief.likeness < settings.turned_relief or relief.differing > settings.turned_differing


def _refuse_extremes(first: View, touch: Touch, settings: JoinSettings) -> None:
    assert touch.fit is not None
    names = f"{first.name} and {touch.second.name}"
    if touch.fit.share > settings.most_share:
        raise JoinRefused("same", f"{names} show the same part of the work twice", "give each part once")
    rotation, scale = touch.fit.rotation_deg, touch.fit.scale_percent
    if abs(rotation) > settings.most_rotation_deg:
        raise JoinRefused(
            "rotation",
            f"{names} are turned by {rotation:.1f} degrees against each other, more than"
            f" {settings.most_rotation_deg:g}",
            "lay the work straight along the edge of the bed and scan again",
        )
    if abs(scale) > settings.most_scale_percent and not _only_bent(first, touch, settings):
        raise JoinRefused("scale", f"{names} differ in scale by {scale:.2f} %", "scan all parts with the same settings")


def _only_bent(first: View, touch: Touch, settings: JoinSettings) -> bool:
    """A bent sheet looks scaled along its overlap. Its residual tells it from one scanned at another scale, whose
    patches a similarity explains to the last hundredth; it is judged by what its correction leaves."""
    assert touch.fit is not None
    if abs(touch.fit.scale_percent) > 2 * settings.most_scale_percent:
        return False
    return bend_between(first, touch.second, touch.fit) is not None


def _apart(
    parts: Sequence[JoinPart],
    reached: Sequence[int],
    failures: dict[tuple[int, int], Touch],
    settings: JoinSettings,
) -> JoinRefused:
    """The most telling reason why a part hangs on none of the others."""
    lost = [i for i in range(len(parts)) if i not in reached]
    crossing = {p: t for p, t in failures.items() if (p[0] in lost) != (p[1] in lost)}
    for pair, touch in crossing.items():
        names = f"{parts[pair[0]].name} and {parts[pair[1]].name}"
        if touch.code == "ambiguous":
            mm = touch.period_px * MM_PER_INCH / parts[0].ppi
            return JoinRefused(
                "ambiguous",
                f"{names} fit in several places: the texture repeats every {touch.period_px:.0f} px ({mm:.2f} mm)",
                "scan again with something in the overlap that does not repeat, such as an edge or a strip of paper"
                " beside the work",
            )
        if touch.code == "overlap":
            return JoinRefused(
                "overlap",
                f"{names} overlap by {touch.period_px:.1%} of a part, at least {settings.least_share:.1%} is needed",
                "scan again so that neighbouring parts share 10 to 20 % of the width",
            )
    others = [parts[i].name for i in range(len(parts)) if i not in lost]
    return JoinRefused(
        "unrelated",
        f"no common place found for {', '.join(parts[i].name for i in lost)} on {', '.join(others)}:"
        " the parts do not belong together, or overlap too little",
        "check the names; scan again with more overlap",
    )
