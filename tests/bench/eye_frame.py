"""Rates of the crop: works with cut and with rough edges on all lids; and works for the other checks of frame and
coding."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import scans
import surfaces
from beds import Thing, Truth, lay_out
from bench.eye_pictures import Pictures
from bench.rates import Group, Options, Trial, scan_of
from scans import Camera, Stitch, bed_of, cameras, code, frame_of, see, two_cameras

from dawnproof.measure.band import Check
from dawnproof.measure.border import BorderCheck
from dawnproof.measure.outline import Outline
from dawnproof.model import Bed

Pixels = npt.NDArray[np.unsignedinteger]
PPI = 300.0
MM = 25.4 / PPI
ROWS, COLUMNS = 1300, 1600
LIDS = ("white", "white", "grey", "black", "open")
INVENTED = (surfaces.paper, surfaces.wash, surfaces.strokes, surfaces.drawing, surfaces.laid, surfaces.weave)
SIDE_MM, SKEW_DEG, SURE = 0.5, 0.05, 0.9
AIMED = ("never inside", "all sides in 0.5 mm", "skew in 0.05 degrees")


def work(pictures: Pictures, rows: int, columns: int, seed: int, halve: bool = True) -> tuple[str, surfaces.Surface]:
    """A third of pictures, the others invented."""
    rng = np.random.default_rng((seed, 41))
    if pictures.works and rng.random() < 0.35:
        path = pictures.works[int(rng.integers(len(pictures.works)))]
        return path.stem[:16], surfaces.from_picture(surfaces.load(str(path)), rows, columns, seed, halve)
    make = INVENTED[int(rng.integers(len(INVENTED)))]
    return make.__name__, make(rows, columns, seed)


def bare_scan(pixels: Pixels) -> scans.Scan:
    """The work fills the frame, and the bed is as large."""
    return scan_of(pixels, frame_of(pixels, PPI, bed_of(pixels, PPI)))


def show(check: Check, pixels: Pixels) -> None:
    """All of the scan, band by band."""
    for band in scans.bands(pixels, 256):
        check.see(band)


def _crop(pictures: Pictures, seeds: range, _: Options) -> Iterator[Trial]:
    """A stitch in half of the scans. A skew that the check says it does not know to 0.05 degrees is counted as it is
    given, and apart from those it says it knows."""
    for seed in seeds:
        name, pixels, truth, rough, lid = _scene(pictures, seed)
        scan = scan_of(pixels, frame_of(pixels, PPI, Bed("bed-a", COLUMNS * MM, ROWS * MM, lid=lid)))
        check = BorderCheck(scan.frame)
        show(check, pixels)
        outline = check.outline()
        edges = "rough edges" if rough else "cut edges"
        yield Trial(f"{edges}, outline found", outline.found, f"{name}: {outline.why}", scan)
        if not outline.found or outline.skew_deg is None:
            continue
        off = _beyond_mm(outline, truth)
        outside = float(off.min()) >= 0
        yield Trial(f"{edges}, never inside", outside, f"{name}: {off.round(2)}", scan)
        near = outside and float(off.max()) <= SIDE_MM
        yield Trial(f"{edges}, all sides in 0.5 mm", near, f"{name}: {off.round(2)}", scan)
        turned = outline.skew_deg - truth.skew_deg
        straight = abs(turned) <= SKEW_DEG
        told = f"{name}: {turned:.3f}, standard error {outline.skew_error_deg:.3f}"
        yield Trial(f"{edges}, skew in 0.05 degrees", straight, told, scan)
        sure = next(reading.sure for reading in check.readings(outline) if reading.name == "skew") >= SURE
        yield Trial(f"{edges}, skew said to be known so (sure 0.9)", sure, told)
        if sure:
            yield Trial(f"{edges}, and it is", straight, told, scan)
        twice = abs(turned) <= 2 * outline.skew_error_deg
        yield Trial(f"{edges}, skew in twice its own standard error", twice, told)


def _scene(pictures: Pictures, seed: int) -> tuple[str, Pixels, Truth, bool, str]:
    rng = np.random.default_rng((seed, 99))
    lid = LIDS[int(rng.integers(len(LIDS)))]
    rows, columns = int(rng.integers(500, 1050)), int(rng.integers(500, 1300))
    skew = float(rng.uniform(-3, 3)) if rng.random() < 0.5 else float(rng.normal(0, 0.3))
    name, surface = work(pictures, rows, columns, seed)
    x = float(rng.uniform(columns / 2 + 60, COLUMNS - columns / 2 - 60))
    y = float(rng.uniform(rows / 2 + 60, ROWS - rows / 2 - 60))
    rough = float(rng.choice([0, 0, 0, 4, 10]))
    fall = None if rng.random() < 0.5 else (float(rng.uniform(-5, 5)), float(rng.uniform(-5, 5)))
    shadow, wide = float(rng.choice([0.05, 0.15, 0.3])), float(rng.uniform(2, 9))
    thing = Thing(surface, (x, y), skew, rough, float(rng.uniform(4, 12)), shadow, wide, fall)
    bed, (truth,) = lay_out(ROWS, COLUMNS, lid, [thing], seed)
    noise = float(rng.choice([0.001, 0.002, 0.004]))
    if rng.random() < 0.5:
        left, right = cameras(seed, noise=noise)
        view = two_cameras(bed, Stitch(COLUMNS / 2, left=left, right=right), seed)
    else:
        view = see(bed, Camera(noise=noise), 0.0, 0.0, seed)
    told = f"{seed} {name} on {lid}, skew {skew:.2f}, rough {rough}, shadow {shadow} over {wide:.1f} px"
    return told, code(view), truth, rough > 0, lid


def _beyond_mm(outline: Outline, truth: Truth) -> npt.NDArray[np.float64]:
    box = outline.box
    return np.array([truth.left - box.x, truth.top - box.y, box.right - truth.right, box.bottom - truth.bottom]) * MM


GROUPS = (
    Group(
        "crop",
        "outline and skew, on all lids",
        _crop,
        {f"{edges} edges, {what}": 100 for edges in ("cut", "rough") for what in AIMED},
    ),
)
