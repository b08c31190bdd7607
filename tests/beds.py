"""Beds with several things on them and works whose edges are not straight, with the truth about where they end.

Surfaces as in `surfaces.py`; lids as in `scans.py`. Shadows fall round the things, deepest at the edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scans import LIDS
from surfaces import Surface, band_noise

Cover = npt.NDArray[np.float32]  # (rows, columns), share of the pixel that a thing covers


@dataclass(frozen=True)
class Thing:
    """Something on the bed: centre (x, y) in px of the scan, turned clockwise on screen by `skew_deg`.

    `rough_px`: how far the edge may draw back from the rectangle; `grain_px`: the size of its teeth. `dark_side`:
    direction the shadow falls, None = all round.
    """

    surface: Surface
    centre: tuple[float, float]
    skew_deg: float = 0.0
    rough_px: float = 0.0
    grain_px: float = 6.0
    shadow: float = 0.2
    shadow_px: float = 5.0
    fall: tuple[float, float] | None = None


@dataclass(frozen=True)
class Truth:
    """Where a thing ends: the smallest box of its cover in edge coordinates, cut at the frame."""

    left: float
    top: float
    right: float
    bottom: float
    skew_deg: float


def lay_out(
    rows: int, columns: int, lid: str, things: list[Thing], seed: int = 0, unevenness: float = 0.004
) -> tuple[Surface, list[Truth]]:
    """The bed with the things on it from first to last, and where each ends."""
    bed = lid_surface(rows, columns, lid, seed, unevenness)
    truths = []
    for number, thing in enumerate(things):
        cover = cover_of(thing, rows, columns, seed + 17 * number)
        bed = bed * _shade(cover, thing)[..., None]
        bed = bed * (1 - cover[..., None]) + _placed(thing, rows, columns) * cover[..., None]
        truths.append(_truth(cover, thing.skew_deg))
    return np.clip(bed, 0, 1).astype(np.float32), truths


def lid_surface(rows: int, columns: int, lid: str, seed: int, unevenness: float) -> Surface:
    """The bare lid: smooth clouds, a fall of light across, or the blotches of a dark room."""
    coarse = band_noise(rows // 32 + 8, columns // 32 + 8, 4.0, 30.0, seed + 5)
    cloud = np.asarray(cv2.resize(coarse, (columns, rows)))
    fall = np.linspace(-1, 1, columns)[None] ** 2 * np.random.default_rng((seed, 3)).uniform(-2, 1) * unevenness
    depth = 0.6 if lid == "open" else unevenness
    tone = LIDS[lid] * (1 + depth * cloud + fall)
    return np.clip(tone[..., None] * np.ones(3), 0, 1).astype(np.float32)


def cover_of(thing: Thing, rows: int, columns: int, seed: int) -> Cover:
    """Share of each pixel the thing covers; rough edges draw back from the rectangle."""
    height, width = thing.surface.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32) + np.float32(0.5)
    turn = np.radians(thing.skew_deg)
    dx, dy = x - thing.centre[0], y - thing.centre[1]
    along, across = dx * np.cos(turn) + dy * np.sin(turn), dy * np.cos(turn) - dx * np.sin(turn)
    inside = np.minimum(width / 2 - np.abs(along), height / 2 - np.abs(across))
    if thing.rough_px > 0:
        inside = inside - thing.rough_px * _teeth(rows, columns, thing.grain_px, seed)
    return np.asarray(np.clip(inside + 0.5, 0, 1), np.float32)


def _teeth(rows: int, columns: int, grain_px: float, seed: int) -> npt.NDArray[np.float32]:
    """0 to 1: how far the edge draws back, in teeth of the given size on longer waves."""
    fine = band_noise(rows, columns, grain_px / 3, grain_px, seed)
    long = np.asarray(cv2.resize(band_noise(rows // 16 + 8, columns // 16 + 8, 3.0, 12.0, seed + 1), (columns, rows)))
    return np.clip(0.5 + 0.15 * fine + 0.2 * long, 0, 1).astype(np.float32)


def _placed(thing: Thing, rows: int, columns: int) -> Surface:
    height, width = thing.surface.shape[:2]
    turn = cv2.getRotationMatrix2D((0.0, 0.0), -thing.skew_deg, 1.0)
    middle = np.array([width / 2, height / 2])
    # from pixel centres to edge coordinates and back, as warpAffine counts from centres
    turn[:, 2] = np.array(thing.centre) - turn[:, :2] @ middle + turn[:, :2] @ np.array([0.5, 0.5]) - 0.5
    placed = cv2.warpAffine(
        thing.surface, turn, (columns, rows), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(placed, np.float32)


def _shade(cover: Cover, thing: Thing) -> npt.NDArray[np.float32]:
    if thing.shadow <= 0:
        return np.ones_like(cover)
    body = (cover >= 0.5).astype(np.uint8)
    if thing.fall is not None:
        shift = np.array([[1, 0, thing.fall[0]], [0, 1, thing.fall[1]]], np.float32)
        body = np.asarray(cv2.warpAffine(body, shift, (cover.shape[1], cover.shape[0])))
        soft = np.asarray(cv2.GaussianBlur(body.astype(np.float32), (0, 0), thing.shadow_px))
        return np.asarray(1 - thing.shadow * soft, np.float32)
    away = np.asarray(cv2.distanceTransform(1 - body, cv2.DIST_L2, 5))
    return np.asarray(1 - thing.shadow * np.exp(-away / thing.shadow_px), np.float32)


def _truth(cover: Cover, skew_deg: float) -> Truth:
    """The box to a fraction of a pixel: the last column of the cover counts by its largest share."""
    sides = []
    for profile in (cover.max(axis=0), cover.max(axis=1)):
        hit = np.flatnonzero(profile >= 0.02)
        first, last = int(hit[0]), int(hit[-1])
        sides.append((first + 1 - float(profile[first]), last + float(profile[last])))
    (left, right), (top, bottom) = sides
    return Truth(left, top, right, bottom, skew_deg)
