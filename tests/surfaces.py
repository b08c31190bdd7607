"""Artworks for test scans: real pictures and invented surfaces, as float32 (rows, columns, 3) in 0..1, in the
encoding of the scan (gamma 2.2), without noise. Deterministic by seed.

A picture that must be enlarged has no detail in its outer spectrum; relief and sensor noise fill it, as in a
real scan of a smooth painting.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

Surface = npt.NDArray[np.float32]
Field = npt.NDArray[np.float32]  # (rows, columns)
Maker = Callable[[int, int, int], Surface]  # rows, columns, seed
SHARED = Path(__file__).resolve().parents[2] / "shared" / "testdata"


@lru_cache(maxsize=6)
def load(path: str) -> Surface:
    """An 8 or 16 bit picture file as (rows, columns, 3), 0..1, red first."""
    raw = cv2.imread(path, cv2.IMREAD_UNCHANGED | cv2.IMREAD_ANYCOLOR | cv2.IMREAD_ANYDEPTH)
    if raw is None:
        raise FileNotFoundError(path)
    return as_surface(np.asarray(raw)[..., ::-1] if raw.ndim == 3 else raw)


def as_surface(picture: npt.NDArray[Any]) -> Surface:
    """Any 8 or 16 bit, grey or colour array as a surface; alpha is left out."""
    top = {"uint8": 255.0, "uint16": 65535.0}.get(picture.dtype.name, 1.0)
    rgb = picture if picture.ndim == 3 else picture[..., None]
    rgb = rgb[..., :3] if rgb.shape[2] >= 3 else np.repeat(rgb[..., :1], 3, axis=2)
    return np.ascontiguousarray(rgb, dtype=np.float32) / np.float32(top)


def from_picture(
    picture: npt.NDArray[Any], rows: int, columns: int, seed: int = 0, halve: bool = True, most: float = 1.5
) -> Surface:
    """A random cut of the picture, brought to (rows, columns): enlarged at most `most` times, further
    cuts beside it beyond that.

    With `halve` a large picture is first halved, which removes what its JPEG coding and its camera's colour
    interpolation did to the finest detail.
    """
    surface = as_surface(picture)
    if halve and min(surface.shape[0] / rows, surface.shape[1] / columns) >= 2:
        surface = np.asarray(cv2.resize(surface, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))
    scale = min(max(rows / surface.shape[0], columns / surface.shape[1], 1.0), most)
    if scale > 1.0:
        surface = np.asarray(cv2.resize(surface, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC))
    return np.asarray(np.clip(_spread(surface, rows, columns, (seed, 11)), 0.0, 1.0), dtype=np.float32)


FADE_PX = 24


def _spread(picture: Surface, rows: int, columns: int, seed: tuple[int, int]) -> Surface:
    """Random cuts of the picture side by side until `columns` are filled, each from other rows, faded over FADE_PX.

    Mirroring sideways would not do: at the mirror's line columns repeat, which is what a stitch fault does. Too few
    rows are mirrored, which repeats rows only.
    """
    rng = np.random.default_rng(seed)
    cut = _cut(picture, rows, columns, rng)
    while cut.shape[1] < columns:
        more = _cut(picture, rows, columns, rng)
        share = np.linspace(0, 1, FADE_PX, dtype=np.float32)[None, :, None]
        faded = cut[:, -FADE_PX:] * (1 - share) + more[:, :FADE_PX] * share
        cut = np.concatenate([cut[:, :-FADE_PX], faded, more[:, FADE_PX:]], axis=1)
    return np.asarray(cut[:, :columns])


def _cut(picture: Surface, rows: int, columns: int, rng: np.random.Generator) -> Surface:
    have_rows, have_columns = picture.shape[:2]
    top = int(rng.integers(0, have_rows - rows + 1 if have_rows >= rows else 2 * have_rows))
    left = int(rng.integers(0, max(have_columns - columns, 0) + 1))
    return picture[_mirrored(np.arange(rows) + top, have_rows), left : left + columns]


def band_noise(rows: int, columns: int, fine_px: float, coarse_px: float, seed: int) -> Field:
    """Noise between two sizes of grain, mean 0, deviation 1."""
    rng = np.random.default_rng((seed, 12))
    field = rng.standard_normal((rows, columns)).astype(np.float32)
    band = np.asarray(cv2.GaussianBlur(field, (0, 0), fine_px)) - np.asarray(cv2.GaussianBlur(field, (0, 0), coarse_px))
    return np.asarray(band / band.std(), dtype=np.float32)


def ground(rows: int, columns: int, colour: tuple[float, float, float]) -> Surface:
    """A flat colour."""
    return np.broadcast_to(np.asarray(colour, np.float32), (rows, columns, 3)).copy()


def paper(rows: int, columns: int, seed: int = 0, tooth: float = 0.01, white: float = 0.93) -> Surface:
    """Bare paper: a little tooth, soft clouds, nothing else."""
    grain = band_noise(rows, columns, 1.2, 6.0, seed) * tooth
    cloud = cv2.resize(band_noise(rows // 16 + 8, columns // 16 + 8, 3.0, 12.0, seed + 1), (columns, rows)) * 0.004
    return np.clip(ground(rows, columns, (white, white, white * 0.97)) + (grain + cloud)[..., None], 0, 1)


def wash(rows: int, columns: int, seed: int = 0) -> Surface:
    """A soft watercolour wash: colours without edges, on paper without tooth."""
    layers = [
        cv2.resize(band_noise(rows // 16 + 8, columns // 16 + 8, 4.0, 20.0, seed + k), (columns, rows))
        for k in range(3)
    ]
    return np.asarray(np.clip(0.8 + 0.06 * np.stack(layers, axis=2), 0, 1), dtype=np.float32)


def strokes(rows: int, columns: int, seed: int = 0, count: int = 260) -> Surface:
    """Brush strokes of many colours with bristle marks along them, over one another on a toned ground."""
    rng = np.random.default_rng((seed, 13))
    canvas = ground(rows, columns, (0.62, 0.55, 0.45)) + band_noise(rows, columns, 1.0, 4.0, seed)[..., None] * 0.01
    for _ in range(count * rows * columns // (1200 * 1500) + 1):
        _stroke(canvas, rng)
    return np.asarray(np.clip(canvas, 0, 1), dtype=np.float32)


def _stroke(canvas: Surface, rng: np.random.Generator) -> None:
    rows, columns = canvas.shape[:2]
    start = rng.uniform((0, 0), (columns, rows))
    angle, length, width = rng.uniform(0, np.pi), rng.uniform(80, 400), int(rng.integers(8, 40))
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    colour = rng.uniform(0.1, 0.9, 3)
    bend = rng.uniform(-0.25, 0.25) * length
    steps = np.linspace(0, 1, 12)
    line = start + steps[:, None] * length * along + (steps * (1 - steps) * 4)[:, None] * bend * across
    for bristle in range(-width // 2, width // 2):
        shade = np.clip(colour * (1 + 0.12 * rng.standard_normal()), 0, 1)
        points = np.rint((line + bristle * across) * 8).astype(np.int32)
        cv2.polylines(canvas, [points], False, shade.tolist(), 2, cv2.LINE_AA, 3)


def drawing(rows: int, columns: int, seed: int = 0, lines: int = 60) -> Surface:
    """A few pencil lines on bare paper: nearly everywhere nothing to compare."""
    rng = np.random.default_rng((seed, 14))
    sheet = paper(rows, columns, seed, tooth=0.002)
    for _ in range(lines):
        at = rng.uniform((0, 0), (columns, rows), (2, 2))
        points = np.rint(np.stack([at[0], at.mean(axis=0) + rng.uniform(-90, 90, 2), at[1]]) * 8).astype(np.int32)
        cv2.polylines(sheet, [points], False, (float(rng.uniform(0.2, 0.6)),) * 3, 2, cv2.LINE_AA, 3)
    return sheet


def laid(rows: int, columns: int, seed: int = 0, pitch_px: float = 17.0, upright: bool = True) -> Surface:
    """Laid paper: parallel laid lines (upright = along the travel) and wide-set chain lines across them."""
    place = np.arange(columns if upright else rows) + 0.7 * np.sin(np.arange(columns if upright else rows) / 210.0)
    chain = np.arange(rows if upright else columns)
    lines = 0.012 * np.cos(2 * np.pi * place / pitch_px)
    chains = -0.015 * np.exp(-(((chain % 590) - 295) ** 2) / 30.0)
    tone = lines[None, :] + chains[:, None] if upright else lines[:, None] + chains[None, :]
    return np.asarray(np.clip(paper(rows, columns, seed, tooth=0.006) + tone[..., None], 0, 1), dtype=np.float32)


def weave(rows: int, columns: int, seed: int = 0, pitch_px: tuple[float, float] = (21.0, 19.0)) -> Surface:
    """Plain-woven primed canvas: over-under threads of slightly uneven pitch, a thin uneven paint layer."""
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    drift = cv2.resize(band_noise(rows // 20 + 8, columns // 20 + 8, 4.0, 16.0, seed), (columns, rows))
    u, v = np.pi * (x + 1.2 * drift) / pitch_px[0], np.pi * (y + 1.2 * drift) / pitch_px[1]
    over = np.sin(u) * np.sin(v)
    thread = 0.5 * (np.abs(np.sin(u)) + np.abs(np.sin(v))) + 0.4 * over
    tone = 0.05 * (thread - thread.mean()) + 0.01 * band_noise(rows, columns, 1.0, 5.0, seed + 3)
    return np.asarray(np.clip(ground(rows, columns, (0.72, 0.68, 0.6)) + tone[..., None], 0, 1), dtype=np.float32)


def printed(rows: int, columns: int, seed: int = 0, repeat_px: tuple[int, int] = (36, 28)) -> Surface:
    """A printed repeat: the same small motif, to the pixel, over the whole sheet."""
    rng = np.random.default_rng((seed, 15))
    tile = ground(repeat_px[0], repeat_px[1], (0.9, 0.88, 0.8))
    for _ in range(4):
        centre = tuple(int(v) for v in rng.integers(4, min(repeat_px) - 4, 2))
        cv2.circle(tile, centre, int(rng.integers(2, 6)), rng.uniform(0.1, 0.7, 3).tolist(), -1, cv2.LINE_AA)
    sheet = np.tile(tile, (rows // repeat_px[0] + 1, columns // repeat_px[1] + 1, 1))[:rows, :columns]
    return np.clip(sheet + band_noise(rows, columns, 1.0, 4.0, seed)[..., None] * 0.004, 0, 1).astype(np.float32)


def crease(
    surface: Surface, column_px: float, depth: float = 0.06, width_px: float = 4.0, wobble_px: float = 1.5
) -> Surface:
    """A fold crease along the travel: one side of the ridge light, the other dark, not quite straight."""
    rows, columns = surface.shape[:2]
    y = np.arange(rows)
    line = column_px + wobble_px * np.sin(y / 190.0) + 0.4 * wobble_px * np.sin(y / 37.0)
    away = (np.arange(columns)[None, :] - line[:, None]) / width_px
    shade = -depth * away * np.exp(0.5 - 0.5 * away**2)
    return np.asarray(np.clip(surface * (1.0 + shade[..., None]), 0, 1), dtype=np.float32)


def mounted(surface: Surface, column_px: int, tone: float = 0.9) -> Surface:
    """A mount of the given tone right of the column, its bevelled edge exactly there, with a thin shadow."""
    rows, columns = surface.shape[:2]
    out = paper(rows, columns, 77, tooth=0.004, white=tone)
    out[:, :column_px] = surface[:, :column_px]
    out[:, column_px : column_px + 5] = 0.97
    fall = np.exp(-np.arange(20)[::-1] / 6.0).astype(np.float32)
    out[:, column_px - 20 : column_px] *= (1.0 - 0.25 * fall)[None, :, None]
    return out


def varnished(surface: Surface, seed: int = 0) -> Surface:
    """Glossy varnish over fine relief: each slope that leans towards the lamp mirrors it, a glint of a few pixels."""
    rows, columns = surface.shape[:2]
    rng = np.random.default_rng((seed, 51))
    height = band_noise(rows, columns, 2.5, 12.0, seed + 1) * float(rng.uniform(1.0, 2.5))
    lamp = (float(rng.uniform(0.5, 0.9)), float(rng.uniform(-0.2, 0.2)))
    glint = _mirrored_lamp(height, lamp, float(rng.uniform(0.08, 0.16)))
    return np.asarray(surface + np.float32(1.2) * glint[..., None], dtype=np.float32)


def gilded(surface: Surface, seed: int = 0, facet_px: float | None = None) -> Surface:
    """A patch of wrinkled gold or silver leaf; `facet_px` the size of its wrinkles (random between 3 and 14). Values
    above 1 where the lamp is mirrored."""
    rows, columns = surface.shape[:2]
    rng = np.random.default_rng((seed, 54))
    facet = float(rng.uniform(3, 14)) if facet_px is None else facet_px
    height = band_noise(rows, columns, facet, 60.0, seed + 2) * float(rng.uniform(4, 10))
    height = height + band_noise(rows, columns, 1.2, 5.0, seed + 3) * np.float32(0.12)
    glint = _mirrored_lamp(height, (0.1, 0.0), float(rng.uniform(0.25, 0.5)))[..., None]
    dull, hot = (((0.55, 0.42, 0.18), (1.3, 1.15, 0.95)), ((0.5, 0.5, 0.5), (1.25, 1.25, 1.25)))[int(rng.integers(2))]
    bright = float(rng.uniform(0.8, 1.6))
    leaf = np.array(dull, np.float32) * (0.4 + 0.4 * glint) + np.array(hot, np.float32) * glint**2 * bright
    patch = np.zeros((rows, columns), np.uint8)
    centre = (int(rng.integers(columns // 4, 3 * columns // 4)), int(rng.integers(rows // 4, 3 * rows // 4)))
    axes = (int(rng.integers(columns // 8, columns // 3)), int(rng.integers(rows // 8, rows // 3)))
    cv2.ellipse(patch, centre, axes, float(rng.uniform(0, 180)), 0, 360, 1, -1)
    return np.asarray(np.where(patch[..., None] > 0, leaf, surface), dtype=np.float32)


def _mirrored_lamp(height: Field, lamp: tuple[float, float], width: float) -> Field:
    """How much of the lamp each place mirrors: all of it where the slope is `lamp`, less by a Gaussian beside it."""
    across = np.asarray(cv2.Sobel(height, cv2.CV_32F, 1, 0, ksize=3)) / 8
    along = np.asarray(cv2.Sobel(height, cv2.CV_32F, 0, 1, ksize=3)) / 8
    off = (across - lamp[0]) ** 2 + (along - lamp[1]) ** 2
    return np.asarray(np.exp(-off / (2 * width * width)), dtype=np.float32)


def relief(surface: Surface, texture: npt.NDArray[Any], strength: float, seed: int = 0) -> Surface:
    """Shading by raking light: the texture, 5th to 95th percentile taken as -1..1, changes the light by
    `strength` (0.08 = 8 %); laid from a random place, again and again where it is smaller than the work."""
    if strength == 0.0:
        return surface
    rows, columns = surface.shape[:2]
    grey = as_surface(texture).mean(axis=2)
    light = _spread(grey[..., None], rows, columns, (seed, 16))[..., 0]
    low, high = np.percentile(grey, (5, 95))
    shade = (light - (low + high) / 2) / ((high - low) / 2)
    return np.asarray(np.clip(surface * (1.0 + strength * shade[..., None]), 0, 1), dtype=np.float32)


def _mirrored(place: npt.NDArray[np.int_], length: int) -> npt.NDArray[np.int_]:
    folded = place % (2 * length)
    return np.where(folded < length, folded, 2 * length - 1 - folded)
