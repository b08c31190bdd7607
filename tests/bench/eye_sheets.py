"""Sheets for the checks that look at the whole scan: pictures and invented surfaces in turn, with relief, on a bed with
lid or none, and what a check says of them."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import scans
import surfaces
from bench.eye_pictures import Pictures
from bench.rates import Options

from dawnproof.measure.band import Check, Pixels
from dawnproof.measure.outline import Outline, whole_frame
from dawnproof.model import Reading

ROWS, COLUMNS = 1300, 1000  # a small part; real ones have three to ten times as many of both
INVENTED: tuple[surfaces.Maker, ...] = (
    surfaces.strokes,
    surfaces.paper,
    surfaces.laid,
    surfaces.weave,
    surfaces.drawing,
    surfaces.wash,
)
TEXTURED = {"strokes", "paper", "laid", "weave"}


@dataclass(frozen=True)
class Sheet:
    """A work, its name for the list of misses, and whether it has texture all over."""

    name: str
    surface: surfaces.Surface
    textured: bool
    seed: int


def sheets(pictures: Pictures, seeds: range, options: Options) -> Iterator[Sheet]:
    """Pictures and invented surfaces in turn from the first seed on, with relief of 0 to 8 %."""
    size = (options.height or ROWS, options.width or COLUMNS)
    made: list[Callable[[tuple[int, int], int], tuple[str, surfaces.Surface, bool]]] = [
        *(partial(_of_picture, path) for path in pictures.works),
        *(partial(_invented, work) for work in INVENTED),
    ]
    for turn, seed in enumerate(seeds):
        name, surface, textured = made[turn % len(made)](size, seed)
        strength = float(np.random.default_rng((seed, 31)).choice([0.0, 0.02, 0.04, 0.08]))
        if pictures.textures and strength:
            texture = surfaces.load(str(pictures.textures[seed % len(pictures.textures)]))
            surface, textured = surfaces.relief(surface, texture, strength, seed), True
            name += f"+{strength:.0%}"
        yield Sheet(f"{name} seed {seed}", surface, textured, seed)


def _of_picture(path: Path, size: tuple[int, int], seed: int) -> tuple[str, surfaces.Surface, bool]:
    return path.stem[:16], surfaces.from_picture(surfaces.load(str(path)), *size, seed), False


def _invented(work: surfaces.Maker, size: tuple[int, int], seed: int) -> tuple[str, surfaces.Surface, bool]:
    return work.__name__, work(*size, seed), work.__name__ in TEXTURED


def scanned(sheet: Sheet, surface: surfaces.Surface | None = None, again: int = 0) -> scans.Scan:
    """The sheet on a bed with lid or none, one camera."""
    rng = np.random.default_rng((sheet.seed, 32, again))
    kind = str(rng.choice(["white", "white", "grey", "black", "none"]))
    margins = rng.integers(40, 90, 4)
    lid = scans.Lid(
        kind, (int(margins[0]), int(margins[1]), int(margins[2]), int(margins[3])), float(rng.uniform(-1, 1))
    )
    return scans.make_scan(
        sheet.surface if surface is None else surface,
        None if kind == "none" else lid,
        noise=float(rng.uniform(0.001, 0.005)),
        depth_bits=int(rng.choice([16, 16, 16, 8])),
        seed=sheet.seed + 1000 * again,
    )


def scanned_bare(sheet: Sheet) -> scans.Scan:
    """The sheet fills the frame, as a part's scan does."""
    rng = np.random.default_rng((sheet.seed, 37))
    depth = int(rng.choice([16, 16, 16, 8]))
    return scans.make_scan(
        sheet.surface, None, noise=float(rng.uniform(0.001, 0.005)), depth_bits=depth, seed=sheet.seed
    )


def with_pixels(scan: scans.Scan, pixels: Pixels) -> scans.Scan:
    """The same scan with other pixels, and with as many rows as they have."""
    frame = dataclasses.replace(scan.frame, width_px=pixels.shape[1], height_px=pixels.shape[0])
    return dataclasses.replace(scan, pixels=pixels, frame=frame)


def asked(kind: type[Check], scan: scans.Scan, work: scans.Scan | None = None) -> tuple[dict[str, Reading], Check]:
    """Readings by name, and the check; the outline is that of `work`, else of the scan itself."""
    check = kind(scan.frame)
    for band in scans.bands(scan.pixels, 256):
        check.see(band)
    return {reading.name: reading for reading in check.readings(outline_of(work or scan))}, check


def outline_of(scan: scans.Scan) -> Outline:
    """The true outline, as the check for it would give."""
    frame = scan.frame
    whole = whole_frame(frame.width_px, frame.height_px)
    mask = np.zeros((frame.height_px, frame.width_px), np.uint8)
    cv2.fillConvexPoly(mask, np.rint(scan.corners).astype(np.int32), 1)
    one, two, three, four = ((float(x), float(y)) for x, y in scan.corners)
    corners = (one, two, three, four)
    spans = np.full((frame.height_px, 2), np.nan)
    for row in np.flatnonzero(mask.any(axis=1)):
        inside = np.flatnonzero(mask[row])
        spans[row] = inside[0], inside[-1] + 1
    return dataclasses.replace(whole, box=scan.box, corners=corners, spans=spans, rows_per_span=1)
