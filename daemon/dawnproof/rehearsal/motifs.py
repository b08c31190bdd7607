"""What the invented works show: tidal marsh, harbour basin, orchard, quay; as a plan of colours, a flow for the
brush, areas for washes and lines for pen and pencil. Positions in px, x right and y down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from .strokes import Colour, Pigment
from .surfaces import Field, Shape, clouds, noise

Line = npt.NDArray[np.float32]  # (points, 2): x, y in px
PLAN_STEP = 6  # plans are made this much coarser than the work and grown


@dataclass(frozen=True)
class Area:
    """Where a wash goes (signed px, positive inside), what it absorbs (optical density) and how strongly."""

    inside: Field
    absorbs: Colour
    strength: float


@dataclass(frozen=True)
class Motif:
    """Plan of colours (rows, columns, 3), flow of the brush (radians), areas from light to dark, lines."""

    plan: Pigment
    flow: Field
    areas: tuple[Area, ...]
    lines: list[Line]

    @classmethod
    def flat(cls, shape: Shape, colour: Colour) -> Motif:
        plan = np.empty((*shape, 3), np.float32)
        plan[:] = colour
        return cls(plan, np.full(shape, 0.35, np.float32), (), [])


def marsh(shape: Shape, px_mm: float, rng: np.random.Generator) -> Motif:
    """Sky, a far shore, channels of water between banks, reeds in front."""
    rows, columns = shape
    down = np.arange(rows, dtype=np.float32)[:, None]
    horizon = rows * rng.uniform(0.36, 0.46)
    wave = noise(shape, 9 * px_mm, rng) * 1.1 * px_mm + noise(shape, 1.5 * px_mm, rng) * 0.35 * px_mm
    sky = horizon + 2 * px_mm - down + wave * 0.5
    cloud = np.minimum(sky, (clouds(shape, 16 * px_mm, rng) - 0.15) * 6 * px_mm)
    shore = np.minimum(down - (horizon - 2.2 * px_mm - np.abs(wave)), horizon + 1.2 * px_mm - down)
    land = down - horizon - 1.0 * px_mm + wave * 0.3
    banks = np.minimum(land, (clouds((rows, columns), 14 * px_mm, rng) + 0.2) * 5 * px_mm)
    mud = np.minimum(banks - 1.4 * px_mm, (noise(shape, 4 * px_mm, rng) + 0.1) * 2 * px_mm)
    front = np.minimum(down - rows * 0.8 + wave * 2, np.float32(rows))
    areas = (
        _area(sky, (0.55, 0.28, 0.10), 0.55),
        _area(cloud, (0.35, 0.30, 0.22), 0.5),
        _area(land, (0.45, 0.30, 0.20), 0.40),
        _area(shore, (0.75, 0.50, 0.45), 0.8),
        _area(banks, (0.45, 0.55, 1.30), 0.7),
        _area(mud, (0.75, 0.95, 1.25), 0.6),
        _area(front, (0.9, 0.75, 1.6), 0.55),
    )
    plan = np.full((*shape, 3), 0.7, np.float32)
    return Motif(plan, np.zeros(shape, np.float32), areas, _reeds(shape, px_mm, rng))


def basin(shape: Shape, px_mm: float, rng: np.random.Generator) -> Motif:
    """A harbour basin: sheds with lit and dark sides, masts, their reflections; tones for hatching."""
    rows, columns = shape
    plan = _plan(shape, (0.75, 0.45), rng, 0.10)
    lines: list[Line] = []
    small = 1.0 / PLAN_STEP
    quay_row = rows * 0.55
    for x in np.arange(-0.04, 1.0, 0.115):
        left, right = columns * (x + rng.uniform(-0.02, 0.02)), columns * (x + rng.uniform(0.07, 0.13))
        top = quay_row - rows * rng.uniform(0.08, 0.3)
        roof = top - rng.uniform(2, 6) * px_mm
        ridge = (left + right) / 2
        outline = np.array([[left, quay_row], [left, top], [ridge, roof], [right, top], [right, quay_row]], np.float32)
        tone = rng.uniform(0.06, 0.5)
        cv2.fillPoly(plan, [np.rint(outline * small).astype(np.int32)], (tone, tone, tone))
        dim = np.stack([outline[:, 0], 2 * quay_row - outline[:, 1]], axis=1)
        cv2.fillPoly(plan, [np.rint(dim * small).astype(np.int32)], (tone * 0.6 + 0.2,) * 3)
        lines += [outline, outline + rng.normal(0, 0.1 * px_mm, outline.shape).astype(np.float32)]
        lines += _windows(left, right, top, quay_row, px_mm, rng)
    for x in rng.uniform(0, columns, 9):
        mast = np.array([[x, quay_row * rng.uniform(0.15, 0.6)], [x + rng.normal(0, px_mm), rows * 0.62]], np.float32)
        lines += [mast, mast + np.float32(0.35 * px_mm)]
    return Motif(_grown(plan, shape), np.zeros(shape, np.float32), (), lines)


def orchard(shape: Shape, px_mm: float, rng: np.random.Generator) -> Motif:
    """Trees in fruit before a hill, with grass; the brush goes around crowns and along the ground."""
    plan = _plan(shape, (0.42, 0.30), rng, 0.12)
    height, width = plan.shape[:2]
    plan *= np.array([0.75, 1.0, 1.25], np.float32)
    ground = np.arange(height)[:, None] > height * (0.45 + 0.05 * noise((1, width), width / 6, rng))
    plan[ground] = (0.16, 0.26, 0.05)
    plan *= 1.0 + 0.25 * noise((height, width), width / 22, rng)[:, :, None]
    flow = 0.4 * noise((height, width), width / 6, rng)
    down, over = np.mgrid[:height, :width]
    for _ in range(9):
        row, column = height * rng.uniform(0.25, 0.8), width * rng.uniform(0, 1)
        radius = height * rng.uniform(0.1, 0.2)
        crown = np.hypot(down - row, over - column) < radius * (1 + 0.2 * noise((height, width), 9, rng))
        plan[crown] = np.array([0.10, 0.20, 0.04]) * rng.uniform(0.6, 1.7)
        flow[crown] = np.arctan2(over - column, row - down)[crown]
        for _ in range(26):
            angle, away = rng.uniform(0, 2 * np.pi), radius * rng.uniform(0, 0.9)
            place = (int(column + away * np.cos(angle)), int(row + away * np.sin(angle)))
            fruit: Colour = (0.62, rng.uniform(0.08, 0.4), 0.04)
            cv2.circle(plan, place, int(rng.integers(2, 5)), fruit, -1)
    return Motif(_grown(np.clip(plan, 0.02, 0.8), shape), _grown(flow.astype(np.float32), shape), (), [])


def quay(shape: Shape, px_mm: float, rng: np.random.Generator) -> Motif:
    """Hard-edged planes of colour: hulls, sails and their shadows, as an abstract picture."""
    plan = _plan(shape, (0.55, 0.60), rng, 0.06)
    plan *= np.array([1.05, 1.0, 0.8], np.float32)
    height, width = plan.shape[:2]
    flow = np.full((height, width), 0.15, np.float32)
    colours: tuple[Colour, ...] = (
        (0.05, 0.17, 0.30), (0.55, 0.22, 0.06), (0.62, 0.55, 0.36), (0.04, 0.08, 0.10), (0.24, 0.40, 0.38),
        (0.58, 0.42, 0.10), (0.42, 0.08, 0.07),
    )  # fmt: skip
    lines: list[Line] = []
    for _ in range(34):
        middle = rng.uniform((0, 0), (width, height))
        corners = middle + rng.normal(0, height * 0.16, (int(rng.integers(3, 6)), 2))
        hull = cv2.convexHull(corners.astype(np.float32))[:, 0]
        cv2.fillPoly(plan, [np.rint(hull).astype(np.int32)], colours[int(rng.integers(len(colours)))])
        mask = np.zeros((height, width), np.uint8)
        cv2.fillPoly(mask, [np.rint(hull).astype(np.int32)], 1)
        flow[mask > 0] = rng.uniform(0, np.pi)
        lines += [(hull[[i, i - 1]] * PLAN_STEP).astype(np.float32) for i in range(len(hull))]
    return Motif(_grown(plan, shape), _grown(flow, shape), (), lines)


def _plan(shape: Shape, tones: tuple[float, float], rng: np.random.Generator, unrest: float) -> Pigment:
    """A coarse plan that runs from the first tone at the top to the second at the bottom, a little restless."""
    height, width = shape[0] // PLAN_STEP + 1, shape[1] // PLAN_STEP + 1
    run = np.linspace(tones[0], tones[1], height, dtype=np.float32)[:, None]
    toned = run * (1.0 + unrest * clouds((height, width), width / 5, rng))
    return np.repeat(toned[:, :, None], 3, axis=2).astype(np.float32)


def _grown(plan: Field, shape: Shape) -> Field:
    return np.asarray(cv2.resize(plan, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR), np.float32)


def _area(inside: npt.NDArray[Any], absorbs: Colour, strength: float) -> Area:
    return Area(np.asarray(inside, np.float32), absorbs, strength)


def _reeds(shape: Shape, px_mm: float, rng: np.random.Generator) -> list[Line]:
    """Bent stalks rising from the lower third, and the fine ripples of the water."""
    rows, columns = shape
    lines = []
    bend = np.linspace(0, 1, 6, dtype=np.float32)
    for _ in range(int(columns / px_mm * 3.5)):
        foot = rng.uniform((0, rows * 0.72), (columns, rows))
        tall, lean = rng.uniform(3, 11) * px_mm, rng.normal(0.4, 1.0) * px_mm
        lines.append(np.stack([foot[0] + lean * bend**2, foot[1] - tall * bend], axis=1).astype(np.float32))
    for _ in range(int(columns / px_mm * 1.5)):
        start = rng.uniform((0, rows * 0.45), (columns, rows * 0.75))
        ripple = np.stack([start[0] + 4 * px_mm * bend, start[1] + rng.normal(0, 0.1 * px_mm, 6)], axis=1)
        lines.append(ripple.astype(np.float32))
    return lines


def _windows(left: float, right: float, top: float, foot: float, px_mm: float, rng: np.random.Generator) -> list[Line]:
    """Small boards and panes on a shed's front."""
    lines = []
    for x in np.arange(left + 0.8 * px_mm, right, 1.1 * px_mm):
        y = rng.uniform(top, foot - px_mm)
        lines.append(np.array([[x, y], [x + rng.normal(0, 2), min(y + 5 * px_mm, foot)]], np.float32))
    return lines
