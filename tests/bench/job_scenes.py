"""Whole sound scans as a studio makes them, with what most easily passes for a fault: leaf, varnish, creases, laid
lines, bare paper, rulers, a dark room. Deterministic by seed; truth: nothing is wrong with any of them.

Glints are made by the law they follow: a mirror-like share of the lamps' light where the surface's slope turns it into
the camera (a normal distribution of slopes about the direction of the half angle, the usual microfacet model).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import scans
import surfaces
from beds import Thing, lay_out

from dawnproof.model import MM_PER_INCH, Bed
from dawnproof.rehearsal import surfaces as grounds

Field = npt.NDArray[np.float32]
Rng = np.random.Generator
DARKEST, LIGHTEST = 0.07, 0.86  # pigments in the encoding of the scan: neither black nor white to the end


@dataclass(frozen=True)
class Set:
    """Pictures and textures that works are made of."""

    pictures: tuple[Path, ...]
    textures: tuple[Path, ...]


@dataclass(frozen=True)
class Job:
    """A made scan, the name of its kind, the part it is, and a line that says how it was made."""

    scan: scans.Scan
    kind: str
    part: str
    told: str


@dataclass(frozen=True)
class _Sheet:
    """Size of a work, px, and pixels a millimetre."""

    rows: int
    columns: int
    px_mm: float
    seed: int

    @property
    def shape(self) -> tuple[int, int]:
        return self.rows, self.columns


def picture(chosen: Set, sheet: _Sheet, rng: Rng) -> surfaces.Surface:
    """A real picture, its tones brought into what pigment reflects."""
    path = chosen.pictures[int(rng.integers(len(chosen.pictures)))]
    drawn = surfaces.from_picture(surfaces.load(str(path)), sheet.rows, sheet.columns, sheet.seed, most=2.2)
    return np.asarray(DARKEST + (LIGHTEST - DARKEST) * drawn, np.float32)


def _shaded(surface: surfaces.Surface, chosen: Set, sheet: _Sheet, rng: Rng, most: float = 0.08) -> surfaces.Surface:
    """The surface with relief: a photographed texture or a computed ground, 0 to `most`, a third of works none."""
    if rng.random() < 0.33:
        return surface
    strength = float(rng.uniform(0, most))
    if rng.random() < 0.5 and chosen.textures:
        texture = surfaces.load(str(chosen.textures[int(rng.integers(len(chosen.textures)))]))
        return surfaces.relief(surface, texture, strength, sheet.seed)
    height = (grounds.cold_pressed, grounds.weave, grounds.laid)[int(rng.integers(3))](sheet.shape, sheet.px_mm, rng)
    slope = np.gradient(height, axis=0)
    slope /= np.percentile(np.abs(slope), 95) + 1e-9
    return np.asarray(np.clip(surface * (1 + strength * slope[..., None]), 0, 1), np.float32)


def _painted(chosen: Set, sheet: _Sheet, rng: Rng) -> surfaces.Surface:
    return _shaded(picture(chosen, sheet, rng), chosen, sheet, rng)


def _laid(chosen: Set, sheet: _Sheet, rng: Rng) -> surfaces.Surface:
    """Laid paper, its lines along the travel or across, with a picture printed on the middle or none."""
    pitch = float(rng.uniform(0.7, 1.3)) * sheet.px_mm
    paper = surfaces.laid(sheet.rows, sheet.columns, sheet.seed, pitch, upright=bool(rng.random() < 0.7))
    paper = paper * np.float32(rng.uniform(0.88, 0.97))
    if rng.random() < 0.5:
        top, left = sheet.rows // 5, sheet.columns // 5
        inner = replace(sheet, rows=sheet.rows - 2 * top, columns=sheet.columns - 2 * left)
        within = paper[top : top + inner.rows, left : left + inner.columns]
        within *= picture(chosen, inner, rng) / np.float32(LIGHTEST)
    return np.asarray(np.clip(paper, 0, 0.95), np.float32)


def _red_ground(chosen: Set, sheet: _Sheet, rng: Rng) -> surfaces.Surface:
    """A saturated red all over, its red channel near or at the end, with a few strokes on it."""
    red = surfaces.ground(sheet.rows, sheet.columns, (float(rng.uniform(0.93, 1.03)), 0.06, 0.04))
    mottle = surfaces.band_noise(sheet.rows, sheet.columns, 1.0, 9.0, sheet.seed)[..., None]
    red = red * (1 + 0.03 * mottle)
    strokes = surfaces.strokes(sheet.rows, sheet.columns, sheet.seed + 3, 40)
    ground = surfaces.strokes(sheet.rows, sheet.columns, sheet.seed + 3, 0)
    where = np.abs(strokes - ground).max(axis=2, keepdims=True) > 0.06
    return np.asarray(np.clip(np.where(where, strokes, _shaded(np.clip(red, 0, 1), chosen, sheet, rng)), 0, 1))


def _slopes(height_mm: Field, px_mm: float) -> Field:
    """Along the travel, where the lamps stand."""
    return np.asarray(cv2.Sobel(height_mm, cv2.CV_32F, 0, 1, ksize=3) / 8 * np.float32(px_mm), np.float32)


def _mirrored(slope: Field, facing: float, rough: float) -> Field:
    """Share of mirrored light: slopes near `facing` on either side turn a lamp into the camera."""
    return np.asarray(np.exp(-(((np.abs(slope) - facing) / rough) ** 2)), np.float32)


def _leaf(chosen: Set, sheet: _Sheet, rng: Rng) -> surfaces.Surface:
    """Metal leaf in squares of 80 mm that overlap, wrinkled and burnished, on a part of a picture."""
    work = _painted(chosen, sheet, rng)
    side = 80 * sheet.px_mm * float(rng.uniform(0.25, 1.0))
    wrinkles = 0.05 * grounds.clouds(sheet.shape, 2.5 * sheet.px_mm, rng) + 0.004 * grounds.noise(sheet.shape, 4.0, rng)
    mirrored = _mirrored(_slopes(wrinkles, sheet.px_mm), float(rng.uniform(0.35, 0.7)), float(rng.uniform(0.05, 0.12)))
    tone = np.array([0.62, 0.5, 0.24], np.float32) * (0.6 + 0.25 * np.tanh(wrinkles / 0.05))[..., None]
    gold = tone + mirrored[..., None] * np.array([1.0, 0.9, 0.62], np.float32) * float(rng.uniform(0.5, 1.3))
    y, x = np.mgrid[0 : sheet.rows, 0 : sheet.columns].astype(np.float32)
    squares = ((x // side).astype(int) + 2 * (y // side).astype(int)) % 3 != 0
    torn = grounds.clouds(sheet.shape, 5 * sheet.px_mm, rng) > -1.2
    near = np.hypot(x - sheet.columns * rng.uniform(0.3, 0.7), y - sheet.rows * rng.uniform(0.3, 0.7))
    there = squares & torn & (near < 0.35 * min(sheet.shape))
    return np.asarray(np.clip(np.where(there[..., None], gold, work), 0, 1), np.float32)


def _varnish(chosen: Set, sheet: _Sheet, rng: Rng) -> surfaces.Surface:
    """Glossy varnish over brushwork or canvas: glints on the ridges, clipped where they face the lamps."""
    work = picture(chosen, sheet, rng)
    weave = grounds.weave(sheet.shape, sheet.px_mm, rng) if rng.random() < 0.5 else 0.0
    ridges = (
        0.09 * grounds.noise(sheet.shape, float(rng.uniform(4, 14)), rng) * (grounds.clouds(sheet.shape, 90, rng) > 0.4)
    )
    height = np.asarray(weave + ridges, np.float32)
    slope = _slopes(height, sheet.px_mm)
    shine = _mirrored(slope, float(rng.uniform(0.5, 0.9)), 0.1) * float(rng.uniform(0.4, 1.2))
    return np.asarray(
        np.clip(work * (1 + 0.06 * np.clip(slope, -1, 1))[..., None] + shine[..., None], 0, 1), np.float32
    )


def _bare(chosen: Set, sheet: _Sheet, rng: Rng) -> surfaces.Surface:
    """A small drawing or picture on bare paper; at least four fifths of the sheet hold nothing but its tooth."""
    tooth, white = float(rng.uniform(0.002, 0.012)), float(rng.uniform(0.86, 0.95))
    paper = surfaces.paper(sheet.rows, sheet.columns, sheet.seed, tooth, white)
    share = float(rng.uniform(0.05, 0.19))
    rows, columns = int(sheet.rows * np.sqrt(share)), int(sheet.columns * np.sqrt(share))
    top, left = int(rng.integers(40, sheet.rows - rows - 40)), int(rng.integers(40, sheet.columns - columns - 40))
    small = replace(sheet, rows=rows, columns=columns)
    drawn = surfaces.drawing(rows, columns, sheet.seed) if rng.random() < 0.4 else picture(chosen, small, rng)
    paper[top : top + rows, left : left + columns] *= drawn / np.float32(max(float(drawn.max()), 0.5))
    return paper


def _crease(chosen: Set, sheet: _Sheet, rng: Rng, column: float) -> surfaces.Surface:
    """A folded sheet whose crease lies at the stitch."""
    work = _painted(chosen, sheet, rng) if rng.random() < 0.6 else _bare(chosen, sheet, rng)
    depth, wide = float(rng.uniform(0.03, 0.15)), float(rng.uniform(2, 8))
    return surfaces.crease(work, column + float(rng.uniform(-4, 4)), depth, wide, float(rng.uniform(0, 3)))


WORKS: dict[str, Callable[[Set, _Sheet, Rng], surfaces.Surface]] = {
    "picture": _painted,
    "laid paper": _laid,
    "saturated red ground": _red_ground,
    "metal leaf": _leaf,
    "glossy varnish": _varnish,
    "bare paper over 80 %": _bare,
}
# (kind, how the work is made): what is not a work of its own is a picture put down in another way
KINDS = (
    *WORKS,
    "crease at the stitch",
    "target and ruler in the frame",
    "open lid",
    "two cameras that differ",
    "no bed position",
    "a half, run out of the frame",
)


def make(chosen: Set, seed: int, kind: str | None = None, scale: float = 1.0) -> Job:
    """The sound scan of a seed; every kind in its turn. `scale` of the usual 3000 to 4400 px of width."""
    kind = kind or KINDS[seed % len(KINDS)]
    rng = np.random.default_rng((seed, sum(map(ord, kind)), 51))
    ppi = float(rng.choice([400, 600]))
    if kind.startswith("target"):
        scale = max(scale, 1.0)  # a target and a ruler have a size of their own
    rows, columns = int(scale * rng.integers(1800, 2700)), int(scale * rng.integers(3000, 4400))
    margins = [int(m) for m in rng.integers(90, 260, 4)]  # left, top, right, bottom
    part = "whole"
    if kind.startswith("a half"):
        part = str(rng.choice(["L", "R"]))
        margins[2 if part == "L" else 0] = -int(rng.integers(60, 300))
    sheet = _Sheet(rows - margins[1] - margins[3], columns - margins[0] - margins[2], ppi / MM_PER_INCH, seed)
    nominal = columns / 2 + float(rng.uniform(-60, 60))
    seam = round(nominal + float(rng.uniform(-0.9, 0.9)) * 5 * ppi / MM_PER_INCH)
    work = (
        _crease(chosen, sheet, rng, seam - margins[0])
        if kind.startswith("crease")
        else WORKS.get(kind, _painted)(chosen, sheet, rng)
    )
    lid = "open" if kind == "open lid" else str(rng.choice(["white", "white", "white", "grey", "black"]))
    skew = float(np.clip(rng.normal(0, 0.25), -0.9, 0.9))
    bed, corners = _on_bed(work, (rows, columns), margins, lid, skew, seed, kind.startswith("target"), rng)
    stitch = _stitch(kind, seam, rng, seed)
    pixels = scans.code(scans.two_cameras(bed, stitch, seed))
    mm = MM_PER_INCH / ppi
    hidden = kind == "no bed position" or rng.random() < 0.15
    wider = float(rng.uniform(40, 200)) if hidden else 0.0
    profile = Bed(
        "bed-a", columns * mm + wider, rows * mm + wider, (nominal * mm + wider / 2,), 5.0,
        float(rng.choice([0.4, 0.5, 0.6])), "white" if lid == "open" else lid,
    )  # fmt: skip
    frame = scans.frame_of(pixels, ppi, profile)
    scan = scans.Scan(pixels, frame, scans._box(corners, rows, columns), corners, (stitch,))
    told = (
        f"{seed} {kind}: {columns} x {rows} at {ppi:.0f} ppi, lid {lid}, skew {skew:.2f}, stitch {seam}"
        f" blend {stitch.blend_px:.0f}, noise {stitch.left.noise:.4f}/{stitch.right.noise:.4f}"
        f"{', no position' if hidden else ''}"
    )
    return Job(scan, kind, part, told)


def _on_bed(
    work: surfaces.Surface, size: tuple[int, int], margins: list[int], lid: str, skew: float, seed: int,
    beside: bool, rng: Rng,
) -> tuple[surfaces.Surface, npt.NDArray[np.float64]]:  # fmt: skip
    """The bed with the work, and a target and a ruler beside it where asked; the work's corners."""
    rows, columns = work.shape[:2]
    if not beside:
        shadow, wide = float(rng.uniform(0.1, 0.35)), float(rng.uniform(4, 14))
        return scans.lay(
            work, scans.Lid(lid, (margins[0], margins[1], margins[2], margins[3]), skew, shadow, wide), seed
        )
    # room for them: the work is cut shorter at its foot
    work = work[: rows - 420]
    centre = (margins[0] + columns / 2, margins[1] + work.shape[0] / 2)
    foot = margins[1] + work.shape[0]
    target, ruler = _target(rng), _ruler(int(rng.integers(columns // 3, columns // 2)))
    y = foot + (size[0] - foot) / 2 + 30
    things = [
        Thing(work, centre, skew),
        Thing(target, (margins[0] + target.shape[1] / 2 + 40, y), float(rng.normal(0, 1.5))),
        Thing(ruler, (size[1] - margins[2] - ruler.shape[1] / 2 - 30, y), float(rng.normal(0, 0.5))),
    ]
    bed, truths = lay_out(*size, lid, things, seed)
    box = truths[0]
    return bed, np.array(
        [[box.left, box.top], [box.right, box.top], [box.right, box.bottom], [box.left, box.bottom]], np.float64
    )


def _target(rng: Rng) -> surfaces.Surface:
    """Patches of grey and colour on black card."""
    card = surfaces.ground(240, 380, (0.1, 0.1, 0.1))
    for row in range(2):
        for column in range(6):
            grey = 0.12 + 0.15 * column
            colour = (grey,) * 3 if row else tuple(float(v) for v in rng.uniform(0.1, 0.9, 3))
            card[20 + 110 * row : 110 + 110 * row, 18 + 60 * column : 68 + 60 * column] = colour
    return card


def _ruler(length: int) -> surfaces.Surface:
    strip = surfaces.ground(110, length, (0.82, 0.8, 0.7))
    for number, x in enumerate(range(12, length - 12, 16)):
        strip[: 55 if number % 10 == 0 else 30, x : x + 3] = 0.08
    return strip


def _stitch(kind: str, column: int, rng: Rng, seed: int) -> scans.Stitch:
    noise = float(rng.uniform(0.0006, 0.004))
    blend = 0.0 if rng.random() < 0.5 else float(rng.uniform(4, 48))
    if kind != "two cameras that differ":
        left, right = scans.cameras(seed, noise=noise)
        return scans.Stitch(column, 0.0, blend, 0.0, 0.5, left, right)
    gain = 1 + float(rng.uniform(-0.008, 0.008)) + rng.uniform(-0.002, 0.002, 3)
    left = scans.Camera(noise=noise, blur_px=float(rng.uniform(0, 0.3)))
    right = scans.Camera(
        (float(gain[0]), float(gain[1]), float(gain[2])),
        float(rng.uniform(0.3, 0.7)),
        noise * float(rng.uniform(0.7, 1.5)),
    )
    return scans.Stitch(column, 0.0, blend, float(rng.uniform(-0.15, 0.15)), 0.5, left, right)
