"""Overlapping parts become one image that shows no join, or a refusal that says why.

`plan_join` decides everything from a few thousand patches; `render` then walks once over the pixels.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from ..errors import JoinRefused
from ..measure.curve import ToneCurve, tone_curve
from .belong import check_formats
from .blend import Layer, Mosaic
from .cutting import STRIP_SHOWN, Strip, cut_all
from .findings import notes_of, overlaps_of, readings_of
from .fit import adrift
from .geometry import compare
from .layout import Layout, lay_out
from .neighbours import Neighbours, find_neighbours
from .parts import JoinPart, JoinPlan, JoinSettings, Overlap, Pixels, PlacedPart, Warp
from .resample import Mover
from .tone import Tone, even_out, gain_table
from .view import View, apply, compose, in_strip, inverse
from .warp import bent_pairs

Progress = Callable[[float, str], None]
BAND_ROWS = 512
_LAY_FLAT = "lay the work flat, in the same way for every part, and scan the parts again"


def _silent(share: float, doing: str) -> None:
    """Nobody watches."""


def plan_join(
    parts: Sequence[JoinPart], settings: JoinSettings | None = None, progress: Progress = _silent
) -> JoinPlan:
    """Where every part goes, how its tone is evened and where the cuts run. A part labelled overview shows the whole
    work: it is not joined, the places of the others are held against it.

    Raises JoinRefused with a stable code: count, format, same, unrelated, overlap, ambiguous, turned, rotation, scale,
    clipped, lift.
    """
    settings = settings or JoinSettings()
    works = [part for part in parts if part.label != "overview"]
    check_formats(works, settings)
    neighbours = find_neighbours(works, settings, lambda s: progress(0.6 * s, "comparing"))
    views, pairs = neighbours.views, neighbours.pairs
    layout = lay_out(views, pairs)
    curve = tone_curve(works[0].icc)
    progress(0.65, "evening tone")
    tone = even_out(views, pairs, curve, layout.reference, settings.most_gain)
    _refuse_clipped(neighbours, tone, settings)
    warps = bent_pairs(layout, pairs)
    overlaps = overlaps_of(neighbours, layout, tone, warps)
    _refuse_lifted(neighbours, overlaps, settings)
    placed = _placed(views, layout, tone, warps)
    progress(0.75, "cutting")
    layers = layers_of(views, placed, curve)
    cuts, strips = cut_all(layers, layout, settings.feather_px)
    _refuse_adrift(neighbours, strips, settings)
    geometry = None
    for overview in (part for part in parts if part.label == "overview"):
        progress(0.9, "comparing with the overview")
        geometry = compare(overview, views, layout.matrices, (layout.width, layout.height), works[0].ppi)
    progress(1.0, "planned")
    return JoinPlan(
        width=layout.width,
        height=layout.height,
        channels=works[0].image.channels,
        depth_bits=works[0].image.depth_bits,
        ppi=works[0].ppi,
        icc=works[0].icc,
        parts=tuple(placed),
        overlaps=overlaps,
        cuts=cuts,
        readings=readings_of(overlaps),
        notes=notes_of(neighbours, layout, tone, overlaps, strips, curve.assumed, settings),
        reference=works[layout.reference].name,
        feather_px=settings.feather_px,
        fill=_surroundings(views),
        geometry=geometry,
    )


def _refuse_clipped(neighbours: Neighbours, tone: Tone, settings: JoinSettings) -> None:
    for (a, b), share in tone.clipped.items():
        if share > settings.most_clipped_share:
            names = f"{neighbours.views[a].name} and {neighbours.views[b].name}"
            raise JoinRefused(
                "clipped",
                f"{share:.0%} of the overlap of {names} is clipped on the work: tone and place cannot be matched there",
                "scan again with less exposure",
            )


def _refuse_lifted(neighbours: Neighbours, overlaps: Sequence[Overlap], settings: JoinSettings) -> None:
    for overlap in overlaps:
        if overlap.warp_px > settings.most_warp_px or overlap.residual_px > settings.most_residual_px:
            raise JoinRefused(
                "lift",
                f"{overlap.a} and {overlap.b} differ by up to {max(overlap.warp_px, overlap.residual_px):.1f} px"
                " that no smooth correction takes away: the work lay differently or was lifted",
                _LAY_FLAT,
            )


def _refuse_adrift(neighbours: Neighbours, strips: Sequence[Strip], settings: JoinSettings) -> None:
    """Places of an overlap that do not show the same. What lies in a stitch strip that the joined image leaves out does
    not count: doubling there is expected and harmless."""
    shown = {strip.part for strip in strips if strip.shown_share >= STRIP_SHOWN}
    for (a, b), fit in neighbours.pairs.items():
        first, second = neighbours.views[a], neighbours.views[b]
        places = adrift(fit.matches)
        left_out = np.zeros(len(places), bool)
        for view, seen in ((first, places), (second, apply(fit.matrix, places))):
            if view.name not in shown:
                left_out |= in_strip(view, seen[:, 0], seen[:, 1])
        share = float((~left_out).sum()) / fit.matches.every
        if share > settings.most_adrift_share:
            raise JoinRefused(
                "lift",
                f"{share:.0%} of the overlap of {first.name} and {second.name} does not show the same: the work lay"
                " differently, was lifted or was covered there",
                _LAY_FLAT,
            )


def _placed(views: Sequence[View], layout: Layout, tone: Tone, warps: Sequence[tuple[Warp, ...]]) -> list[PlacedPart]:
    spots = {part: (r, c) for r, row in enumerate(layout.rows) for c, part in enumerate(row)}
    return [
        PlacedPart(
            name=view.name,
            matrix=compose(layout.matrices[i], inverse(view.to_part)),
            gain=tuple(float(g) for g in tone.gains[i]),
            turns=view.turns,
            row=spots[i][0],
            column=spots[i][1],
            warps=warps[i],
        )
        for i, view in enumerate(views)
    ]


def layers_of(views: Sequence[View], placed: Sequence[PlacedPart], curve: ToneCurve) -> tuple[Layer, ...]:
    """Views ready to be drawn from."""
    return tuple(
        Layer(
            Mover(view, compose(place.matrix, view.to_part), place.warps),
            tuple(None if g == 1.0 else gain_table(view, curve, g) for g in place.gain),
        )
        for view, place in zip(views, placed, strict=True)
    )


def _surroundings(views: Sequence[View]) -> tuple[int, ...]:
    """What fills the joined image where no part is: the typical value along the rims of the parts."""
    rims = []
    for view in views:
        for y in (0, view.height - 1):
            rims.append(view.pixels(0, y, view.width, 1).reshape(-1, view.part.image.channels))
    return tuple(int(v) for v in np.median(np.concatenate(rims), axis=0))


def render(plan: JoinPlan, parts: Sequence[JoinPart], rows_per_band: int = BAND_ROWS) -> Iterator[Pixels]:
    """Bands of the joined, uncropped image from top to bottom, in the parts' own type; `parts` as they were planned.

    Memory is bounded by a band over the full width and by the pieces of parts beneath one tile of it.
    """
    works = {part.name: part for part in parts}
    views = [View(works[place.name], place.turns) for place in plan.parts]
    layers = layers_of(views, plan.parts, tone_curve(plan.icc))
    mosaic = mosaic_of(plan, layers)
    fill = np.array(plan.fill, np.uint16 if plan.depth_bits > 8 else np.uint8)
    yield from mosaic.bands(plan.width, plan.height, rows_per_band, fill)


def mosaic_of(plan: JoinPlan, layers: tuple[Layer, ...]) -> Mosaic:
    """The layers with the plan's cuts put back between them."""
    count = max(place.row for place in plan.parts) + 1
    rows = tuple(
        tuple(sorted((i for i, p in enumerate(plan.parts) if p.row == r), key=lambda i: plan.parts[i].column))
        for r in range(count)
    )
    cuts = iter(plan.cuts)
    within = tuple(tuple(next(cuts) for _ in row[1:]) for row in rows)
    return Mosaic(layers, rows, within, tuple(cuts), plan.feather_px)
