"""Marks of the hand: bristle strokes with body, fine drawn lines, washes with a wet edge. They work on a Sheet, the
pigment and relief of an artwork while it is being made."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from math import ceil, hypot

import cv2
import numpy as np
import numpy.typing as npt

from .surfaces import Field, Shape, noise

Colour = tuple[float, float, float]  # linear reflectance, red green blue
Pigment = npt.NDArray[np.float32]  # (rows, columns, 3), linear reflectance


@dataclass
class Sheet:
    """An artwork in the making: pigment (rows, columns, 3) as linear reflectance, relief in mm, gloss 0..1."""

    pigment: Pigment
    relief: Field
    px_mm: float
    gloss: Field

    @classmethod
    def of(cls, ground: Field, colour: Colour, px_mm: float) -> Sheet:
        """A bare sheet of one colour on the given ground."""
        pigment = np.empty((*ground.shape, 3), np.float32)
        pigment[:] = colour
        return cls(pigment, ground.copy(), px_mm, np.zeros_like(ground))

    @property
    def shape(self) -> Shape:
        return self.relief.shape[0], self.relief.shape[1]

    def part(self, rows: slice, columns: slice) -> Sheet:
        """A piece of the sheet; what is laid on it is laid on the whole."""
        place = (rows, columns)
        return Sheet(self.pigment[place], self.relief[place], self.px_mm, self.gloss[place])


@dataclass(frozen=True)
class Stamp:
    """One brush mark: how far it covers (0..1), its bristles (deviation about 1) and its body (0..1)."""

    cover: Field
    bristles: Field
    body: Field


@dataclass
class Brush:
    """Makes marks of `length_mm` by `width_mm`; `dryness` 0..1 breaks the mark up towards its end."""

    length_mm: float
    width_mm: float
    px_mm: float
    rng: np.random.Generator
    dryness: float = 0.3
    _stamps: dict[tuple[int, int], Stamp] = field(default_factory=dict)

    def stamp(self, angle_rad: float) -> Stamp:
        """A mark at about this angle, one of four of its kind."""
        key = (round(angle_rad / (np.pi / 18)) % 36, int(self.rng.integers(4)))
        if key not in self._stamps:
            self._stamps[key] = self._make(key[0] * np.pi / 18)
        return self._stamps[key]

    @cached_property
    def _half(self) -> int:
        return ceil(hypot(self.length_mm, self.width_mm) * self.px_mm / 2) + 2

    def _make(self, angle_rad: float) -> Stamp:
        rng, half = self.rng, self._half
        length, width = (
            self.length_mm * self.px_mm * rng.uniform(0.75, 1.0),
            self.width_mm * self.px_mm * rng.uniform(0.8, 1.0),
        )
        down, over = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float32)
        along = np.cos(angle_rad) * over + np.sin(angle_rad) * down
        across = np.cos(angle_rad) * down - np.sin(angle_rad) * over
        across += np.float32(rng.uniform(-0.5, 0.5) / length) * along**2
        hairs = (
            noise((1, 4 * half + 4), 0.11 * self.px_mm, rng)[0]
            + 0.6 * noise((1, 4 * half + 4), 0.35 * self.px_mm, rng)[0]
        )
        hair = np.clip(np.rint(across).astype(np.int32) + 2 * half, 0, 4 * half + 3)
        bristles = hairs[hair] + 0.35 * noise((2 * half + 1, 2 * half + 1), 0.15 * self.px_mm, rng)
        ragged = along + 0.10 * length * hairs[hair]
        inside = np.minimum(width / 2 - np.abs(across), (length / 2 - np.abs(ragged)) * 0.8)
        cover = np.clip(inside / 1.6, 0.0, 1.0)
        used_up = (ragged / length + 0.5) * self.dryness * 2.0
        gaps = np.clip(used_up - 0.35 - 0.45 * bristles, 0, None) * min(1.5, 10 * self.dryness)
        cover *= np.clip(1.0 - gaps, 0.0, 1.0)
        ridge = np.exp(-(((np.abs(across) - width / 2) / (0.12 * self.px_mm + 1)) ** 2))
        body = np.clip(0.45 + 0.22 * bristles + 0.35 * ridge, 0.0, 1.4)
        return Stamp(cover.astype(np.float32), bristles.astype(np.float32), body.astype(np.float32))


def lay(sheet: Sheet, stamp: Stamp, row: int, column: int, colour: Colour, body_mm: float, gloss: float) -> None:
    """Lay one mark of paint with its middle at (row, column); paint covers, its body hides part of what is below."""
    half = stamp.cover.shape[0] // 2
    rows = slice(max(row - half, 0), min(row + half + 1, sheet.shape[0]))
    columns = slice(max(column - half, 0), min(column + half + 1, sheet.shape[1]))
    if rows.start >= rows.stop or columns.start >= columns.stop:
        return
    of_stamp = (
        slice(rows.start - row + half, rows.stop - row + half),
        slice(columns.start - column + half, columns.stop - column + half),
    )
    cover = stamp.cover[of_stamp]
    shade = 1.0 + 0.10 * stamp.bristles[of_stamp]
    under = sheet.pigment[rows, columns]
    under += cover[:, :, None] * (shade[:, :, None] * np.asarray(colour, np.float32) - under)
    below = sheet.relief[rows, columns]
    below += cover * (np.float32(body_mm) * stamp.body[of_stamp] - np.float32(min(body_mm * 6, 0.8)) * below)
    shine = sheet.gloss[rows, columns]
    shine += cover * (np.float32(gloss) - shine)


def wash(sheet: Sheet, inside: Field, absorbs: Colour, strength: float, rng: np.random.Generator) -> None:
    """Lay one watercolour wash where `inside` (signed, px, positive inside) allows: a darker wet edge, pigment that
    settles in the pits of the paper, and the drift of a wash that dried unevenly. `absorbs` is optical density."""
    wet = np.clip(inside / 1.5 + 0.5, 0.0, 1.0).astype(np.float32)
    edge_px = 0.5 * sheet.px_mm
    edge = np.exp(-np.clip(inside, 0, None) / edge_px).astype(np.float32)
    pits = -sheet.relief / np.float32(max(float(np.std(sheet.relief[::4, ::4])), 1e-6))
    drift = 0.16 * noise(sheet.shape, 7 * sheet.px_mm, rng) + 0.07 * noise(sheet.shape, 1.8 * sheet.px_mm, rng)
    grains = 0.10 * noise(sheet.shape, 1.6, rng)
    density = strength * wet * np.clip(1.0 + 0.45 * edge + 0.13 * pits + drift + grains, 0.15, 2.5)
    sheet.pigment *= np.exp(-density[:, :, None] * np.asarray(absorbs, np.float32))


def drawn(shape: Shape, lines: list[npt.NDArray[np.float32]], width_px: float) -> Field:
    """Cover 0..1 of fine lines, each (points, 2) as x, y in px; one width for all."""
    mask = np.zeros(shape, np.uint8)
    thickness = max(1, round(width_px))
    for line in lines:
        cv2.polylines(mask, [np.rint(line * 16).astype(np.int32)], False, 255, thickness, cv2.LINE_AA, 4)
    return np.asarray(mask, np.float32) * np.float32(min(1.0, width_px / thickness) / 255)


def draw(sheet: Sheet, cover: Field, absorbs: Colour, tooth: float) -> None:
    """Rub drawn lines into the sheet: dry pigment catches on the heights of the ground by the share `tooth`."""
    heights = sheet.relief / np.float32(max(float(np.std(sheet.relief[::4, ::4])), 1e-6))
    caught = cover * np.clip(1.0 + tooth * heights, 0.05, 1.8)
    sheet.pigment *= np.exp(-caught[:, :, None] * np.asarray(absorbs, np.float32))
