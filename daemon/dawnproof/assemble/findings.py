"""What is said of a join that was made: figures of every overlap, the worst of each as readings, and notes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..model import MM_PER_INCH, Reading
from .bend import trimmed_size
from .cutting import STRIP_SHOWN, Strip
from .layout import Layout, closure
from .neighbours import Neighbours, place_of
from .parts import JoinNote, JoinSettings, Overlap, Warp
from .tone import Tone
from .view import compose, inverse
from .warp import apart_after, bent_at


def overlaps_of(
    neighbours: Neighbours, layout: Layout, tone: Tone, warps: Sequence[tuple[Warp, ...]]
) -> tuple[Overlap, ...]:
    """One entry for every pair that touches."""
    found = []
    for pair, fit in neighbours.pairs.items():
        a, b = pair
        places, apart = apart_after(layout, fit, pair, warps)
        bends = [np.linalg.norm(bent_at(warps[i], places), axis=1).max() for i in pair]
        between = compose(inverse(layout.matrices[b]), layout.matrices[a])
        found.append(
            Overlap(
                a=neighbours.views[a].name,
                b=neighbours.views[b].name,
                share=fit.share,
                residual_px=trimmed_size(apart),
                warp_px=float(max(bends)),
                rotation_deg=-float(np.rad2deg(np.arctan2(between[1, 0], between[0, 0]))),
                scale_percent=100 * (float(np.hypot(between[0, 0], between[1, 0])) - 1),
                tone_percent=tone.left_percent[pair],
                relief=neighbours.relief[pair],
                overlap_mm=fit.across_px * MM_PER_INCH / neighbours.views[a].part.ppi,
                closure_px=closure(layout, pair, fit),
            )
        )
    return tuple(found)


def readings_of(overlaps: Sequence[Overlap]) -> tuple[Reading, ...]:
    """The worst overlap of each kind."""
    relief = [o.relief for o in overlaps if o.relief is not None]
    turned = max((o.rotation_deg for o in overlaps), key=abs)
    return (
        Reading("join", "residual", max(o.residual_px for o in overlaps), "px"),
        Reading("join", "warp", max(o.warp_px for o in overlaps), "px"),
        Reading("join", "tone", max(o.tone_percent for o in overlaps), "%"),
        Reading(
            "join",
            "relief",
            min(relief) if relief else None,
            "correlation",
            why="" if relief else "no relief above the noise in any overlap",
        ),
        Reading("join", "overlap", min(o.overlap_mm for o in overlaps), "mm"),
        Reading("join", "rotation", turned, "degree"),
    )


def notes_of(
    neighbours: Neighbours,
    layout: Layout,
    tone: Tone,
    overlaps: Sequence[Overlap],
    strips: Sequence[Strip],
    curve_assumed: bool,
    settings: JoinSettings,
) -> tuple[JoinNote, ...]:
    """Everything worth saying, faults among it."""
    notes = [
        *_contradictions(neighbours, layout),
        *_turned(neighbours),
        *_light(overlaps, settings),
        *_scale(overlaps, settings),
    ]
    notes += [*_strips(strips), *_hours(neighbours, settings), *_bounded(neighbours, tone, settings)]
    if curve_assumed:
        notes.append(JoinNote("curve", "the profile states no tone curve: gains are on linear light of gamma 2.2"))
    return tuple(notes)


def _contradictions(neighbours: Neighbours, layout: Layout) -> list[JoinNote]:
    spots = {part: (r, c) for r, row in enumerate(layout.rows) for c, part in enumerate(row)}
    notes = []
    for i, view in enumerate(neighbours.views):
        said = place_of(view.part.label)
        if said is not None and said != spots[i]:
            row, column = spots[i]
            notes.append(
                JoinNote(
                    "contradiction",
                    f"{view.name} is named {view.part.label} but its picture belongs in row {row + 1},"
                    f" column {column + 1}",
                    fault=True,
                )
            )
    return notes


def _turned(neighbours: Neighbours) -> list[JoinNote]:
    return [
        JoinNote("turned", f"{view.name} was laid down turned by {90 * view.turns} degrees; joined, its relief agrees")
        for view in neighbours.views
        if view.turns
    ]


def _light(overlaps: Sequence[Overlap], settings: JoinSettings) -> list[JoinNote]:
    return [
        JoinNote(
            "light",
            f"{o.a} and {o.b} fit but their relief is lit differently (correlation {o.relief:.2f})",
            fault=True,
        )
        for o in overlaps
        if o.relief is not None and o.relief < settings.light_relief
    ]


def _scale(overlaps: Sequence[Overlap], settings: JoinSettings) -> list[JoinNote]:
    return [
        JoinNote(
            "scale",
            f"{o.b} shows the work {o.scale_percent:+.2f} % larger than {o.a}",
            fault=abs(o.scale_percent) > settings.fault_scale_percent,
        )
        for o in overlaps
        if abs(o.scale_percent) > settings.note_scale_percent
    ]


def _strips(strips: Sequence[Strip]) -> list[JoinNote]:
    notes = []
    for strip in strips:
        place = f"the stitch strip of {strip.part} at {strip.place_px:.0f} px"
        if strip.shown_share < STRIP_SHOWN:
            notes.append(JoinNote("strip_not_used", f"{place} is not used: another part covers it", part=strip.part))
        elif strip.avoidable_share > STRIP_SHOWN:
            notes.append(
                JoinNote("strip_used", f"{place} is shown in part although another part covers it", part=strip.part)
            )
        else:
            notes.append(JoinNote("strip_used", f"{place} is shown: no other part covers it", part=strip.part))
    return notes


def _hours(neighbours: Neighbours, settings: JoinSettings) -> list[JoinNote]:
    times = [v.part.admitted_s for v in neighbours.views if v.part.admitted_s is not None]
    if len(times) < 2 or max(times) - min(times) <= settings.session_h * 3600:
        return []
    hours = (max(times) - min(times)) / 3600
    return [JoinNote("hours_apart", f"the parts came {hours:.1f} hours apart, more than {settings.session_h:g}")]


def _bounded(neighbours: Neighbours, tone: Tone, settings: JoinSettings) -> list[JoinNote]:
    edge = 0.999 * settings.most_gain
    return [
        JoinNote("gain", f"{view.name} would need a gain beyond {settings.most_gain:g}; it was held there", fault=True)
        for view, gains in zip(neighbours.views, tone.gains, strict=True)
        if max(gains.max(), 1 / gains.min()) >= edge
    ]
