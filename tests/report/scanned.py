"""Invented scans with sound readings and with known faults, judged by the shipped rule book."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import cv2
import numpy as np

from dawnproof.model import (
    MM_PER_INCH,
    Bed,
    Box,
    Crop,
    Finding,
    Mark,
    Measured,
    PartName,
    Place,
    Reading,
    Role,
    ScanRow,
    SeamSample,
    Where,
)
from dawnproof.policy import Context, judge_scan
from dawnproof.rulebook import RuleBook, load_book

BED_A = Bed("bed-a", 600.0, 450.0, (300.0,), 5.0, 0.5, "white", 1.0)
BED_B = Bed("bed-b", 620.0, 460.0, (310.0,), 5.0, None, "grey", 0.0)
PPI = 400.0


@cache
def book() -> RuleBook:
    return load_book("fine-art")


def at(hour: int, minute: int = 0) -> str:
    """A UTC text of the night: the studio is one hour ahead; from 17 h the 24th, before it the 25th."""
    return f"2026-11-{24 if hour >= 12 else 25}T{hour:02d}:{minute:02d}:00+00:00"


@cache
def thumb(seed: int, rows: int, columns: int) -> bytes:
    """A small grey picture: paper with strokes."""
    rng = np.random.default_rng(seed)
    picture = np.full((rows, columns), 225, np.uint8)
    for _ in range(14):
        start, end = (tuple(int(v) for v in rng.integers(20, [columns - 20, rows - 20])) for _ in range(2))
        cv2.line(picture, start, end, int(rng.integers(40, 190)), int(rng.integers(2, 9)))
    return bytes(cv2.imencode(".png", picture)[1])


def sound(ppi: float = PPI) -> list[Reading]:
    return [
        Reading("encoding", "depth_declared", 16, "bit"),
        Reading("encoding", "depth_true", 16, "bit"),
        Reading("encoding", "profile", "wide working space", ""),
        Reading("resolution", "ppi_x", ppi, "1/in"),
        Reading("resolution", "ppi_y", ppi, "1/in"),
        Reading("clipping", "region", 0.0, "mm2"),
        Reading("seam", "doubling", 0.3, "px", 0.95),
        Reading("crop", "margin", 11.0, "mm"),
    ]


def lifted(px: float = 6.2, y_mm: float = 210.0) -> Reading:
    """A lift that rises and falls along the stitch."""
    ys = np.arange(30.0, 420.0, 15.0)
    bow = px * np.exp(-(((ys - y_mm) / 60.0) ** 2))
    profile = tuple(
        SeamSample(float(y), round(float(d), 2), round(float(d) * 0.127, 2), 0.95) for y, d in zip(ys, bow, strict=True)
    )
    return Reading("seam", "doubling", px, "px", 0.98, Where(297.0, y_mm - 45, 6.0, 90.0, profile))


def with_readings(*changed: Reading, ppi: float = PPI) -> list[Reading]:
    """The sound readings with some of them taken otherwise."""
    new = {(r.check, r.name): r for r in changed}
    kept = [new.pop((r.check, r.name), r) for r in sound(ppi)]
    return kept + list(new.values())


def scan(
    job: str,
    part: str,
    when: str,
    readings: Sequence[Reading],
    place: Place = Place.ARCHIVE,
    take: int = 1,
    bed: Bed = BED_A,
    size_mm: tuple[float, float] = (480.0, 380.0),
    role: Role = Role.WORK,
    findings: tuple[Finding, ...] | None = None,
    ppi: float = PPI,
) -> ScanRow:
    """A scan of a work of `size_mm` (width, height) with 20 mm of lid around it."""
    width, height = (round((mm + 40) * ppi / MM_PER_INCH) for mm in size_mm)
    border = round(17 * ppi / MM_PER_INCH)
    tight = round(20 * ppi / MM_PER_INCH)
    crop = Crop(
        Box(border, border, width - 2 * border, height - 2 * border),
        0.12,
        Box(tight, tight, width - 2 * tight, height - 2 * tight),
    )
    seed = sum(map(ord, job + part))
    scale = 256 / max(width, height)
    suffix = f"_t{take}" if take > 1 else ""
    measured = Measured(
        f"{seed:04x}{take}".ljust(64, "e"),
        width * height * 6,
        width,
        height,
        3,
        16,
        ppi,
        ppi,
        "none",
        "wide working space",
        "",
        tuple(readings),
        crop,
        thumb(seed, round(height * scale), round(width * scale)),
        (("decode", 3.1), ("digest", 1.2), ("seam", 2.0)),
        marks=(Mark("streak", 33.0, None, 0.1, 1.2),),
    )
    judged = judge_scan(readings, book(), Context(role=role)) if findings is None else findings
    return ScanRow(
        seed * 10 + take,
        measured.sha256,
        measured.size_bytes,
        f"{job}_{part}{suffix}.tif",
        PartName(job, part, role, take),
        bed.name,
        place,
        f"/studio/{place.value}/{job}/{job}_{part}{suffix}.tif",
        when,
        "",
        measured,
        judged,
    )
