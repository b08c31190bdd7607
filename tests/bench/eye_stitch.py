"""Scans with and without a lift at the stitch, made from real pictures and invented surfaces, and what the check says
of them. Deterministic by seed and set of pictures."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scans
import surfaces
from bench.eye_pictures import Pictures

from dawnproof.measure.outline import whole_frame
from dawnproof.measure.seam import SeamCheck
from dawnproof.model import MM_PER_INCH, Bed, Reading

COLUMNS, ROWS, LONG_ROWS = 1500, 1200, 2400
NOTE_PX, FAULT_PX = 1.0, 2.0  # the limits of the shipped rule book


@dataclass(frozen=True)
class Made:
    """A scan and what is true of it: doubling of each row, px, and a line that says how it was made."""

    scan: scans.Scan
    truth_px: scans.Profile
    told: str


def make(pictures: Pictures, seed: int, kind: str, place_known: bool = True, long_rows: int = LONG_ROWS) -> Made:
    """A scan of one kind: flat, long (flat, as high as the next), part (5-20 px over 15 % of the stitch), big (5-40
    px), mid (2-5), small (1-2), step (a gain of 2.5 to 6 % between the cameras), shift (0.7 to 4 px down or up).
    Without its place on the bed the stitch is searched for over the whole width. `long_rows`: of long and part."""
    rng = np.random.default_rng((seed, sum(map(ord, kind + pictures.name))))
    rows = long_rows if kind in {"long", "part"} else ROWS
    path = pictures.works[int(rng.integers(len(pictures.works)))]
    work = surfaces.from_picture(surfaces.load(str(path)), rows, COLUMNS, seed)
    strength = 0.0 if rng.random() < 0.33 else float(rng.uniform(0, 0.08))
    texture = surfaces.load(str(pictures.textures[int(rng.integers(len(pictures.textures)))]))
    work = surfaces.relief(work, texture, strength, seed)
    truth = _truth(kind, rows, rng, seed)
    scan, told = _on_bed(work, truth, rng, seed, kind, place_known)
    return Made(scan, truth, f"{kind} {seed} {path.stem[:16]} relief {strength:.3f} {told}")


def _truth(kind: str, rows: int, rng: np.random.Generator, seed: int) -> scans.Profile:
    low, high = {
        "flat": (0, 0),
        "long": (0, 0),
        "step": (0, 0),
        "shift": (0, 0),
        "big": (5, 40),
        "mid": (2, 5),
        "small": (1, 2),
        "part": (5, 20),
    }[kind]
    px = float(rng.uniform(low, high))
    if kind == "part":
        first = float(rng.uniform(0.05, 0.8))
        return scans.lifted_between(rows, first, first + 0.15, px)
    if kind == "big" and rng.random() < 0.5:
        return scans.wavy(rows, px, min(2.0, px - 5), seed)
    return np.full(rows, px)


def _on_bed(
    work: surfaces.Surface, truth: scans.Profile, rng: np.random.Generator, seed: int, kind: str, place_known: bool
) -> tuple[scans.Scan, str]:
    ppi = float(rng.choice([400, 600]))
    noise = float(rng.uniform(0.0003, 0.005))
    nominal = COLUMNS / 2 + float(rng.uniform(-100, 100))
    column = round(nominal + float(rng.uniform(-0.9, 0.9)) * 5 * ppi / MM_PER_INCH)
    blend = 0.0 if rng.random() < 0.5 else float(rng.uniform(4, 48))
    left, right = scans.cameras(seed, noise=noise)
    share = float(rng.uniform(0.3, 0.7))
    shift_px, told = 0.0, ""
    if kind == "step":
        gain = 1 + float(rng.choice([-1, 1])) * float(rng.uniform(0.025, 0.06))
        right = dataclasses.replace(right, gain=(gain, gain, gain))
        told = f" gain {gain:.3f}"
    if kind == "shift":
        shift_px = float(rng.choice([-1, 1])) * float(rng.uniform(0.7, 4.0))
        told = f" shift {shift_px:.2f}"
    stitch = scans.Stitch(column, truth, blend, shift_px, share, left, right)
    mm, wider = MM_PER_INCH / ppi, 0.0 if place_known else 60.0
    bed = Bed("bed-a", COLUMNS * mm + wider, len(work) * mm, (nominal * mm + wider / 2,), parallax=0.5)
    scan = scans.make_scan(work, None, stitch, ppi=ppi, bed=bed, seed=seed)
    told = f"noise {noise:.4f} ppi {ppi:.0f} column {column} blend {blend:.0f} D {truth.max():.2f}{told}"
    return scan, told


SOUND: dict[str, Callable[[int, int], surfaces.Surface]] = {
    "laid paper": lambda seed, column: surfaces.laid(ROWS, COLUMNS, seed, 10.0 + seed % 13),
    "weave": lambda seed, column: surfaces.weave(ROWS, COLUMNS, seed, (12.0 + seed % 14, 13.0 + seed % 11)),
    "printed repeat": lambda seed, column: surfaces.printed(ROWS, COLUMNS, seed, (20 + seed % 37, 22 + seed % 41)),
    "crease at the stitch": lambda seed, column: surfaces.crease(surfaces.strokes(ROWS, COLUMNS, seed), column),
    "edge of a mount": lambda seed, column: surfaces.mounted(surfaces.strokes(ROWS, COLUMNS, seed), column),
    "bare paper": lambda seed, column: surfaces.paper(ROWS, COLUMNS, seed),
    "drawing": lambda seed, column: surfaces.drawing(ROWS, COLUMNS, seed),
    "wash": lambda seed, column: surfaces.wash(ROWS, COLUMNS, seed),
}


def sound_case(name: str, seed: int) -> Made:
    """A named case that looks like doubling and is none."""
    rng = np.random.default_rng((seed, sum(map(ord, name))))
    column = round(COLUMNS / 2 + float(rng.uniform(-60, 60)))
    left, right = scans.cameras(seed, noise=float(rng.uniform(0.001, 0.004)))
    stitch = scans.Stitch(column, 0.0, 0.0 if seed % 2 else 30.0, 0.0, 0.5, left, right)
    mm = MM_PER_INCH / 400
    bed = Bed("bed-a", COLUMNS * mm, ROWS * mm, (COLUMNS / 2 * mm,), parallax=0.5)
    scan = scans.make_scan(SOUND[name](seed, column), None, stitch, ppi=400, bed=bed, seed=seed)
    return Made(scan, np.zeros(ROWS), f"{name} {seed} column {column}")


def doubling_of(scan: scans.Scan) -> Reading:
    """What the check says of the scan's doubling."""
    return readings_of(scan)["doubling"]


def readings_of(scan: scans.Scan) -> dict[str, Reading]:
    """What the check says of the scan, by name."""
    check = SeamCheck(scan.frame)
    for band in scans.bands(scan.pixels):
        check.see(band)
    outline = whole_frame(scan.frame.width_px, scan.frame.height_px)
    return {reading.name: reading for reading in check.readings(outline)}


def word(reading: Reading) -> str:
    """fault, note, sound or undecided, by the shipped limits."""
    if reading.value is None:
        return "undecided"
    size = abs(float(reading.value))
    if size >= FAULT_PX and reading.certain:
        return "fault"
    return "note" if size >= NOTE_PX else "sound"
