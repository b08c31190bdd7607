"""Rates of clipping: counts against a plain count, glints that are none, paper driven over the end."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
import scans
import surfaces
from beds import Thing, lay_out
from bench.eye_frame import MM, Pixels, bare_scan, show, work
from bench.eye_pictures import Pictures
from bench.rates import Group, Options, Trial
from scans import Camera, code, see

from dawnproof.measure.border import BorderCheck
from dawnproof.measure.clipping import ClippingCheck
from dawnproof.measure.outline import Outline, whole_frame
from dawnproof.model import Reading

CHANNELS = ("red", "green", "blue")
NOTE_MM2, FAULT_MM2 = 4.0, 25.0  # the limits of the shipped rule book
SHEETS = (surfaces.drawing, surfaces.paper, surfaces.laid, surfaces.wash)


def _clipping(pictures: Pictures, seeds: range, _: Options) -> Iterator[Trial]:
    """Exposed too long, or clipped before a profile was applied; all six shares against a plain count."""
    for seed in seeds:
        rng = np.random.default_rng((seed, 7))
        name, surface = work(pictures, 500, 700, seed)
        gain = float(rng.choice([1.0, 1.1, 1.3]))
        end = 65535 if rng.random() < 0.5 else int(rng.integers(58000, 65000))
        thing = Thing(surface * np.float32(gain), (430, 320), float(rng.normal(0, 0.8)))
        bed, _truths = lay_out(640, 860, "grey", [thing], seed)
        pixels = np.minimum(code(see(bed * np.float32(gain), Camera(noise=0.002), 0, 0, seed)), end).astype(np.uint16)
        scan = bare_scan(pixels)
        border, check = BorderCheck(scan.frame), ClippingCheck(scan.frame)
        show(border, pixels)
        show(check, pixels)
        outline = border.outline()
        found = {r.name: r for r in check.readings(outline)}
        equal = _equal(found, pixels, outline, end)
        yield Trial("six shares equal a plain count", equal, f"{seed} {name} gain {gain} end {end}", scan)
        if gain == 1.0 and not (pixels == end).all(axis=2).any():
            told = f"{seed} {name}: {found['region'].value} mm2"
            yield Trial("sound scans without a region", found["region"].value == 0.0, told, scan)


def _shine(pictures: Pictures, seeds: range, _: Options) -> Iterator[Trial]:
    """Varnish and metal leaf, which glint and must not be called clipped, and paper driven over the end, which must."""
    for seed in seeds:
        rng = np.random.default_rng((seed, 17))
        name, surface = work(pictures, 560, 760, seed)
        for kind, make in (("varnish", surfaces.varnished), ("metal leaf", surfaces.gilded)):
            pixels = code(see(make(surface * np.float32(0.9), seed), Camera(noise=0.002, blur_px=0.5), 0, 0, seed))
            scan = bare_scan(pixels)
            found = _readings(scan)
            area = float(found["region"].value or 0)
            calm = area <= FAULT_MM2 or not found["region"].certain
            yield Trial(f"no fault by {kind}", calm, f"{seed} {name}: {area} mm2", scan)
            yield Trial(f"no note by {kind}", area <= NOTE_MM2, f"{seed} {name}: {area} mm2", scan)
            counts = [100 * float((pixels[..., k] == 65535).mean()) for k in range(3)]
            shares = [float(found[f"high_{channel}"].value or 0) for channel in CHANNELS]
            told = f"{seed} {name} {kind}: {shares} for {counts}"
            yield Trial("glints, three shares equal a plain count", np.allclose(shares, counts, atol=1e-4), told, scan)
        blown = SHEETS[seed % 4](560, 760, seed) * np.float32(rng.uniform(1.12, 1.5))
        scan = bare_scan(code(see(blown, Camera(noise=0.003, blur_px=0.5), 0, 0, seed)))
        largest = _largest_mm2(scan.pixels)
        if largest >= FAULT_MM2:
            region = _readings(scan)["region"]
            value = float(region.value or 0)
            told = f"{seed}: {value} mm2 of {largest:.0f}"
            yield Trial("blown paper of 25 mm2 and more found", value > FAULT_MM2, told, scan)
            yield Trial("and surely, so that it is a fault", value > FAULT_MM2 and region.certain, told, scan)


def _readings(scan: scans.Scan) -> dict[str, Reading]:
    check = ClippingCheck(scan.frame)
    show(check, scan.pixels)
    return {r.name: r for r in check.readings(whole_frame(scan.frame.width_px, scan.frame.height_px))}


def _largest_mm2(pixels: Pixels) -> float:
    """Of the connected areas in which every channel is at the type's end."""
    _, _, stats, _ = cv2.connectedComponentsWithStats((pixels == 65535).all(axis=2).astype(np.uint8), connectivity=4)
    return float(stats[1:, cv2.CC_STAT_AREA].max(initial=0)) * MM**2


def _equal(found: dict[str, Reading], pixels: Pixels, outline: Outline, end: int) -> bool:
    spans = [outline.rows_span(row) for row in range(len(pixels))]
    inside = np.zeros(pixels.shape[:2], bool)
    for row, (left, right) in enumerate(spans):
        inside[row, left:right] = True
    within = pixels[inside]
    good = True
    for channel, name in enumerate(CHANNELS):
        for side, value in (("high", end), ("low", 0)):
            share = 100 * float((within[:, channel] == value).mean())
            at_type_end = value in (0, 65535)
            told = float(found[f"{side}_{name}"].value or 0)
            # a few pixels at a lower end are no flat spike and need not be told
            good &= abs(told - share) < 1e-4 or (not at_type_end and told == 0.0 and share < 0.05)
    return good


GROUPS = (
    Group("clipping", "shares against a plain count", _clipping, {"six shares equal a plain count": 100}),
    Group("shine", "glints of varnish and leaf, and paper that is clipped", _shine),
)
