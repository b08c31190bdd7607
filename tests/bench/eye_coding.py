"""Rates of what tells how a scan was coded: bits really used, enlarged scans."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
import numpy.typing as npt
import scans
from bench.eye_frame import Pixels, bare_scan, show, work
from bench.eye_pictures import Pictures
from bench.rates import Group, Options, Trial
from scans import Camera, code, see

from dawnproof.measure.depth import proven_bits
from dawnproof.measure.outline import whole_frame
from dawnproof.measure.resolution import ResolutionCheck

LEAST_VALUES = 32  # distinct ones; with fewer nothing is provable


def _depth(pictures: Pictures, seeds: range, _: Options) -> Iterator[Trial]:
    """Real and invented works quantised to fewer bits in every way, and the same works with all their bits."""
    for seed in seeds:
        rng = np.random.default_rng((seed, 8))
        name, surface = work(pictures, 400, 500, seed)
        view = np.clip(see(surface, Camera(noise=float(rng.choice([0.001, 0.003]))), 0, 0, seed), 0, 1)
        power = float(rng.choice([1.0, 1 / 1.8, 1 / 2.2, 1.2]))
        levels = code(view)[:, :, 1].astype(np.float64) / 65535
        full = np.rint(levels**power * 65535).astype(np.uint16)
        told = f"{seed} {name} power {power:.2f}"
        yield Trial("sound scans not accused", _bits(full) in (16, None), told, _grey(full))
        bits = int(rng.choice([8, 10, 12, 14]))
        codes = np.rint(levels * (2**bits - 1)).astype(np.int64)
        way = int(rng.integers(3))
        scaled = np.rint(codes * 65535 / (2**bits - 1)).astype(np.int64)
        repeated = (codes << (16 - bits)) | (codes >> max(2 * bits - 16, 0))
        values = (codes << (16 - bits), repeated, scaled)[way].astype(np.uint16)
        found = _bits(values)
        if len(np.unique(values)) >= LEAST_VALUES:
            told = f"{seed} {name}: {found} for {bits} bits, way {way}"
            yield Trial("exact in the provable cases", found == bits, told, _grey(values))


def _bits(values: Pixels) -> int | None:
    return proven_bits(np.bincount(values.ravel(), minlength=65536))


def _grey(values: Pixels) -> scans.Scan:
    return bare_scan(values[:, :, None])


def _enlarged(pictures: Pictures, seeds: range, _: Options) -> Iterator[Trial]:
    """Native scans with lenses and noise of many kinds, soft works and sharpened scans among them, and the same
    enlarged by 1.25 to 2."""
    for seed in seeds:
        rng = np.random.default_rng((seed, 9))
        name, surface = work(pictures, 1000, 1200, seed, halve=bool(rng.random() < 0.7))
        noise, blur = float(10 ** rng.uniform(-3.3, -2.3)), float(rng.choice([0, 0, 0.4, 0.7, 1.0]))
        if rng.random() < 0.25:
            surface = np.asarray(cv2.GaussianBlur(surface, (0, 0), float(rng.uniform(1.5, 4))))
            name += " soft"
        native = code(see(surface, Camera(noise=noise, blur_px=blur), 0, 0, seed))
        keen = float(rng.choice([0, 0, 0.3, 0.6, 1.0]))
        native = code(_sharpened(native.astype(np.float32) / np.float32(65535), keen))
        label = f"{seed} {name} noise {noise:.4f} blur {blur} sharp {keen}"
        scan = bare_scan(native)
        told = _factor(scan)
        yield Trial("native scans not called enlarged", told is None, f"{label}: x{told or 0:.2f}", scan)
        factor = float(rng.choice([1.25, 1.3, 1.4, 1.5, 1.6, 1.8, 2.0]))
        way, sharp = int(rng.integers(4)), float(rng.choice([0, 0, 0.3, 0.6]))
        scan = bare_scan(_enlarge(native, factor, way, sharp)[:1300, :1500])
        told = _factor(scan)
        label += f" x{factor} way {way} sharpened {sharp}"
        yield Trial("x 1.25 to x 2 found", told is not None, label, scan)
        if told is not None:
            near = abs(told - factor) < 0.05
            yield Trial("factor within 0.05, of those found", near, f"{label}: {told:.2f}", scan)


def _factor(scan: scans.Scan) -> float | None:
    """By how much the scan was surely enlarged."""
    check = ResolutionCheck(scan.frame)
    show(check, scan.pixels)
    outline = whole_frame(scan.frame.width_px, scan.frame.height_px)
    reading = next(r for r in check.readings(outline) if r.name == "detail_x")
    return 1 / float(reading.value or 1) if reading.certain and reading.why.startswith("enlarged") else None


def _enlarge(pixels: Pixels, factor: float, way: int, sharp: float) -> Pixels:
    values = pixels.astype(np.float32) / 65535
    if way == 3:  # a cubic spline, by another library than the one the check was made with
        from scipy.ndimage import zoom

        large = np.asarray(zoom(values, (factor, factor, 1), order=3, grid_mode=True, mode="nearest"), np.float32)
    else:
        kind = (cv2.INTER_LINEAR, cv2.INTER_CUBIC, cv2.INTER_LANCZOS4)[way]
        large = np.asarray(cv2.resize(values, None, fx=factor, fy=factor, interpolation=kind), np.float32)
    return code(_sharpened(np.asarray(np.clip(large, 0, 1), np.float32), sharp))


def _sharpened(view: npt.NDArray[np.float32], amount: float) -> npt.NDArray[np.float32]:
    """Unsharp mask of 1 px."""
    if amount == 0.0:
        return view
    blurred = np.asarray(cv2.GaussianBlur(view, (0, 0), 1.0), np.float32)
    return np.asarray(view + np.float32(amount) * (view - blurred), np.float32)


GROUPS = (
    Group("depth", "bits really used", _depth, {"exact in the provable cases": 100, "sound scans not accused": 100}),
    Group(
        "enlarged",
        "scans enlarged, and native ones",
        _enlarged,
        {"x 1.25 to x 2 found": 97, "native scans not called enlarged": 98},
    ),
)
