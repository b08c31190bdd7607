"""The invented artworks: pigment and relief made from noise and strokes, with fine detail everywhere, so that a
doubled or shifted strip shows. Nothing here follows an existing work."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np

from .motifs import Line, Motif, basin, marsh, orchard, quay
from .strokes import Brush, Colour, Pigment, Sheet, draw, drawn, lay, wash
from .surfaces import Field, Shape, cold_pressed, laid, noise, weave

PAPER_WHITE: Colour = (0.80, 0.79, 0.74)
LAID_WHITE: Colour = (0.74, 0.71, 0.63)
PRIMED: Colour = (0.77, 0.76, 0.72)


class Medium(Enum):
    """What the invented studio was lent."""

    WATERCOLOUR = "watercolour on cold-pressed paper"  # washes, deckle on all sides
    DRAWING = "drawing on laid paper"  # pencil hatching
    ACRYLIC = "acrylic on canvas"  # thin paint, the weave shows
    OIL = "oil on canvas, impasto"  # thick paint with glints
    RED_GROUND = "gouache on red ground"  # one saturated channel over most of the sheet
    BARE_SHEET = "watercolour sketch, mostly bare paper"  # little to compare anywhere


@dataclass(frozen=True)
class Artwork:
    """A finished work at `px_mm` pixels a millimetre: pigment (rows, columns, 3) linear reflectance, relief mm,
    cover 0..1 (0 outside the work's edge), gloss 0..1."""

    medium: Medium
    px_mm: float
    pigment: Pigment
    relief: Field
    cover: Field
    gloss: Field

    @property
    def height_mm(self) -> float:
        return float(self.relief.shape[0] / self.px_mm)

    @property
    def width_mm(self) -> float:
        return float(self.relief.shape[1] / self.px_mm)


def make(medium: Medium, height_mm: float, width_mm: float, px_mm: float, seed: int) -> Artwork:
    """Make one work; the same seed gives the same work."""
    rng = np.random.default_rng(seed)
    shape = (round(height_mm * px_mm), round(width_mm * px_mm))
    sheet = _MAKERS[medium](shape, px_mm, rng)
    pigment = np.clip(sheet.pigment, 0.012, 0.9)
    return Artwork(medium, px_mm, pigment, sheet.relief, _cover(medium, shape, px_mm, rng), sheet.gloss)


def _watercolour(shape: Shape, px_mm: float, rng: np.random.Generator) -> Sheet:
    sheet = Sheet.of(cold_pressed(shape, px_mm, rng), PAPER_WHITE, px_mm)
    motif = marsh(shape, px_mm, rng)
    for area in motif.areas:
        wash(sheet, area.inside, area.absorbs, area.strength, rng)
    half = len(motif.lines) // 2
    draw(sheet, drawn(shape, motif.lines[:half], 0.15 * px_mm), (1.2, 1.0, 1.5), 0.12)
    draw(sheet, drawn(shape, motif.lines[half:], 0.07 * px_mm), (1.2, 1.1, 1.3), 0.2)
    return sheet


def _drawing(shape: Shape, px_mm: float, rng: np.random.Generator) -> Sheet:
    sheet = Sheet.of(laid(shape, px_mm, rng), LAID_WHITE, px_mm)
    motif = basin(shape, px_mm, rng)
    tone = motif.plan.mean(axis=2, dtype=np.float32)
    for turn, darker_than in ((0.9, 0.62), (0.2, 0.42), (-0.5, 0.25), (1.4, 0.13)):
        hatching = _hatching(tone, turn, darker_than, px_mm, rng)
        draw(sheet, drawn(shape, hatching, 0.085 * px_mm), (0.85, 0.87, 0.88), 0.38)
    draw(sheet, drawn(shape, motif.lines, 0.2 * px_mm), (1.1, 1.1, 1.1), 0.3)
    return sheet


def _hatching(tone: Field, turn_rad: float, darker_than: float, px_mm: float, rng: np.random.Generator) -> list[Line]:
    """Slightly bent parallel strokes wherever the plan is darker than a threshold, which wavers."""
    rows, columns = tone.shape
    count = int(rows * columns / (px_mm * px_mm) * 1.7)
    middles = rng.uniform((0, 0), (columns, rows), (count, 2))
    dark = tone[middles[:, 1].astype(int), middles[:, 0].astype(int)] < darker_than + rng.normal(0, 0.05, count)
    steps = np.linspace(-0.5, 0.5, 5)
    lines = []
    for middle in middles[dark]:
        angle = turn_rad + rng.normal(0, 0.05)
        length = rng.uniform(2.0, 5.0) * px_mm
        bend = rng.normal(0, 0.03) * length
        along, across = steps * length, bend * (1 - 4 * steps**2)
        x = middle[0] + np.cos(angle) * along - np.sin(angle) * across
        y = middle[1] + np.sin(angle) * along + np.cos(angle) * across
        lines.append(np.stack([x, y], axis=1).astype(np.float32))
    return lines


def _acrylic(shape: Shape, px_mm: float, rng: np.random.Generator) -> Sheet:
    sheet = Sheet.of(weave(shape, px_mm, rng), PRIMED, px_mm)
    motif = quay(shape, px_mm, rng)
    _prime(sheet, motif, 0.55, rng)
    _paint_over(sheet, motif, Brush(7.0, 2.6, px_mm, rng, 0.45), 0.012, 0.1, 1.6, rng)
    _paint_over(sheet, quay(shape, px_mm, rng), Brush(3.0, 0.7, px_mm, rng, 0.5), 0.014, 0.1, 0.12, rng)
    return sheet


def _oil(shape: Shape, px_mm: float, rng: np.random.Generator) -> Sheet:
    sheet = Sheet.of(weave(shape, px_mm, rng), (0.45, 0.36, 0.25), px_mm)
    motif = orchard(shape, px_mm, rng)
    _prime(sheet, motif, 0.8, rng)
    _paint_over(sheet, motif, Brush(7.5, 2.2, px_mm, rng, 0.15), 0.09, 0.6, 2.4, rng)
    _paint_over(sheet, motif, Brush(4.0, 1.2, px_mm, rng, 0.25), 0.14, 0.7, 1.2, rng)
    return sheet


def _red_ground(shape: Shape, px_mm: float, rng: np.random.Generator) -> Sheet:
    sheet = Sheet.of(cold_pressed(shape, px_mm, rng) * np.float32(0.7), (0.66, 0.045, 0.03), px_mm)
    sheet.pigment *= 1.0 + 0.07 * noise(shape, 0.5 * px_mm, rng)[:, :, None]
    ground = Motif.flat(shape, (0.64, 0.04, 0.028))
    _paint_over(sheet, ground, Brush(11.0, 3.4, px_mm, rng, 0.6), 0.012, 0.15, 0.8, rng)
    figures = quay(shape, px_mm, rng)
    dark = [(0.05, 0.03, 0.03), (0.70, 0.42, 0.06), (0.60, 0.16, 0.05)]
    brush = Brush(9.0, 1.5, px_mm, rng, 0.8)
    for line in figures.lines[:70]:
        colour = dark[int(rng.integers(3))]
        angle = float(np.arctan2(*(line[-1] - line[0])[::-1]))
        lay(sheet, brush.stamp(angle), int(line[0, 1]), int(line[0, 0]), colour, 0.02, 0.15)
    return sheet


def _bare_sheet(shape: Shape, px_mm: float, rng: np.random.Generator) -> Sheet:
    sheet = Sheet.of(cold_pressed(shape, px_mm, rng), PAPER_WHITE, px_mm)
    top, left, rows, columns = shape[0] // 4, shape[1] // 12, shape[0] // 2, int(shape[1] * 0.38)
    part = sheet.part(slice(top, top + rows), slice(left, left + columns))
    motif = marsh((rows, columns), px_mm, rng)
    vignette = noise((rows, columns), 5 * px_mm, rng) * 1.2 * px_mm
    down, over = np.ogrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j]
    oval = (0.8 - np.hypot(down, over)) * columns / 2 + vignette
    for area in motif.areas:
        wash(part, np.minimum(area.inside, oval).astype(np.float32), area.absorbs, area.strength * 0.8, rng)
    draw(part, drawn((rows, columns), motif.lines, 0.06 * px_mm) * (oval > 0), (0.8, 0.8, 0.8), 0.3)
    return sheet


def _prime(sheet: Sheet, motif: Motif, strength: float, rng: np.random.Generator) -> None:
    """A thin first coat in the colours of the plan, denser between the threads of the ground."""
    pits = -sheet.relief / np.float32(max(float(np.std(sheet.relief[::4, ::4])), 1e-6))
    thick = strength * np.clip(1.0 + 0.12 * pits + 0.12 * noise(sheet.shape, 2 * sheet.px_mm, rng), 0.2, 1.2)
    sheet.pigment += np.clip(thick, 0, 1)[:, :, None] * (motif.plan - sheet.pigment)


def _paint_over(
    sheet: Sheet, motif: Motif, brush: Brush, body_mm: float, gloss: float, coats: float, rng: np.random.Generator
) -> None:
    """Cover the sheet with marks in the colours and along the flow of the motif, `coats` times over on average."""
    rows, columns = sheet.shape
    mark_px = brush.length_mm * brush.width_mm * sheet.px_mm**2
    for _ in range(int(coats * rows * columns / mark_px)):
        row, column = int(rng.integers(rows)), int(rng.integers(columns))
        colour = motif.plan[row, column] * np.float32(rng.uniform(0.82, 1.18)) * (1 + rng.normal(0, 0.05, 3))
        angle = float(motif.flow[row, column] + rng.normal(0, 0.25))
        body = body_mm * rng.uniform(0.5, 1.4)
        lay(sheet, brush.stamp(angle), row, column, tuple(np.clip(colour, 0.01, 0.85)), body, gloss)


def _cover(medium: Medium, shape: Shape, px_mm: float, rng: np.random.Generator) -> Field:
    """The work's outline: straight for canvas and cut sheets, a torn deckle for cold-pressed and laid paper."""
    rows, columns = (np.arange(n, dtype=np.float32) for n in shape)
    inside = np.minimum(
        np.minimum(rows, shape[0] - 1 - rows)[:, None], np.minimum(columns, shape[1] - 1 - columns)[None, :]
    )
    if medium in (Medium.ACRYLIC, Medium.OIL, Medium.RED_GROUND):
        return np.asarray(np.clip(inside + 0.5, 0.0, 1.0), np.float32)
    torn = 0.45 + 0.28 * noise(shape, 2.6 * px_mm, rng) + 0.16 * noise(shape, 0.6 * px_mm, rng)
    hairs = 0.12 * noise(shape, 0.12 * px_mm, rng)
    feather_px = 0.13 * px_mm
    bare = inside - np.clip(torn + hairs, 0.02, 1.4) * px_mm
    return np.asarray(np.clip(bare / feather_px, 0.0, 1.0), np.float32)


_MAKERS: dict[Medium, Callable[[Shape, float, np.random.Generator], Sheet]] = {
    Medium.WATERCOLOUR: _watercolour,
    Medium.DRAWING: _drawing,
    Medium.ACRYLIC: _acrylic,
    Medium.OIL: _oil,
    Medium.RED_GROUND: _red_ground,
    Medium.BARE_SHEET: _bare_sheet,
}
