"""Rates of the checks that look at the whole scan: streaks, focus, fringe, travel, likeness."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator

import cv2
import numpy as np
import scans
import surfaces
from bench.eye_pictures import Pictures
from bench.eye_sheets import Sheet, asked, scanned, scanned_bare, sheets, with_pixels
from bench.rates import Group, Options, Trial
from scipy.ndimage import fourier_shift

from dawnproof.measure.band import Pixels
from dawnproof.measure.focus import Focus
from dawnproof.measure.fringe import Fringe
from dawnproof.measure.likeness import Likeness, same_picture
from dawnproof.measure.streaks import Streaks
from dawnproof.measure.thumb import Thumb
from dawnproof.measure.travel import Travel

SOFTEST, WANDER_NOTE_PX, WANDER_FAULT_PX = 0.6, 1.0, 3.0  # the limits of the shipped rule book
FRINGE_PX = 0.33  # of a good scan, as published
STREAK_FOUND, STREAK_NONE = "1 % over the full height found, placed within 1 px", "none on a sound scan"
SOFT_FOUND = {True: "soft fifth found, textured", False: "soft fifth found, without texture all over"}
SOFT_NONE = {True: "none on a sound scan, textured", False: "none on a sound scan, without texture all over"}


def add_streak(pixels: Pixels, column: int, width: int, share: float, first: int, last: int) -> Pixels:
    """Rows first..last of the columns made lighter or darker by a share."""
    changed = pixels.astype(np.float32)
    changed[first:last, column : column + width] *= 1 + share
    return np.rint(np.clip(changed, 0, np.iinfo(pixels.dtype).max)).astype(pixels.dtype)


def _streaks(sheet: Sheet) -> Iterator[Trial]:
    """On a bed with its lid, and of a part that fills its frame."""
    scan = scanned(sheet)
    lid = scan.frame.bed.lid if scan.box.width < scan.frame.width_px else "none"
    yield from _streaked(sheet, scan, "white or grey lid" if lid in {"white", "grey"} else f"lid {lid}")
    if lid != "none":
        yield from _streaked(sheet, scanned_bare(sheet), "lid none")


def _streaked(sheet: Sheet, scan: scans.Scan, lid: str) -> Iterator[Trial]:
    rng = np.random.default_rng((sheet.seed, 33))
    rows, columns = scan.pixels.shape[:2]
    worst = asked(Streaks, scan)[0]
    clean, certain = worst["count"].value == 0, worst["worst"].certain
    told = f"{sheet.name} {lid}: {worst['worst'].value} % certain {certain} {worst['worst'].where}"
    yield Trial(STREAK_NONE, clean, told, scan)
    yield Trial(f"{STREAK_NONE}, {lid}", clean, told)
    yield Trial("no certain one on a sound scan", clean or not certain, told, scan)
    width, column = int(rng.integers(1, 5)), int(rng.integers(8, columns - 12))
    share = float(rng.choice([-0.01, 0.01]))
    for length, full in ((rows, True), (int(rows * rng.uniform(0.4, 1.0)), False)):
        first = int(rng.choice([0, rows - length]))
        streaked = with_pixels(scan, add_streak(scan.pixels, column, width, share, first, first + length))
        _readings, check = asked(Streaks, streaked)
        assert isinstance(check, Streaks)
        centre = column + (width - 1) / 2
        near = [s for s in check.streaks() if abs(s.column - centre) <= 1.0]
        told = f"{sheet.name} {lid}: {share:+.0%} {width} px at {column}, rows {length}/{rows}; found {check.streaks()}"
        if full:
            yield Trial(STREAK_FOUND, bool(near), told, streaked)
            yield Trial(f"{STREAK_FOUND}, {lid}", bool(near), told)
        else:
            yield Trial(f"1 % over 40 to 100 % of the height, {lid}", bool(near), told, streaked)
        if near and full:
            strong = abs(near[0].strength - share) <= 0.002
            yield Trial(f"strength within 0.2 %, {lid}", strong, told, streaked)


def _soften(surface: surfaces.Surface, seed: int) -> surfaces.Surface:
    """A rectangle of a fifth of the work blurred, Gaussian, sigma 2 px."""
    rng = np.random.default_rng((seed, 34))
    rows, columns = surface.shape[:2]
    tall = rng.uniform(0.25, 0.8)
    height, width = int(rows * tall), int(columns * 0.2 / tall)
    top, left = int(rng.integers(0, rows - height + 1)), int(rng.integers(0, columns - width + 1))
    soft = surface.copy()
    blurred = np.asarray(cv2.GaussianBlur(surface, (0, 0), 2.0))
    soft[top : top + height, left : left + width] = blurred[top : top + height, left : left + width]
    return soft


def _focus(sheet: Sheet) -> Iterator[Trial]:
    clean = asked(Focus, scan := scanned(sheet))[0]["softest"]
    value = clean.value if isinstance(clean.value, float) else None
    sound = value is None or value >= SOFTEST
    yield Trial(SOFT_NONE[sheet.textured], sound, f"{sheet.name}: {value}", scan)
    soft = asked(Focus, scan := scanned(sheet, _soften(sheet.surface, sheet.seed)))[0]["softest"]
    seen = soft.value if isinstance(soft.value, float) else None
    found = seen is not None and seen < SOFTEST
    yield Trial(SOFT_FOUND[sheet.textured], found, f"{sheet.name}: {seen} ({value})", scan)


def _fringe(sheet: Sheet) -> Iterator[Trial]:
    rng = np.random.default_rng((sheet.seed, 35))
    clean = asked(Fringe, scan := scanned(sheet))[0]
    values = [reading.value for reading in clean.values()]
    judged = any(value is not None for value in values)
    yield Trial("judged", judged, sheet.name, scan)
    if not judged:
        return
    low = all(float(v or 0) < FRINGE_PX for v in values)
    yield Trial("sound below 0.33 px", low, f"{sheet.name}: {values}", scan)
    size = float(rng.choice([0.30, 0.36, 0.6, 0.9]))
    turn = rng.uniform(0, 2 * np.pi)
    moved = sheet.surface.copy()
    spectrum = np.fft.fft2(moved[..., 0])
    moved[..., 0] = np.fft.ifft2(fourier_shift(spectrum, (size * np.sin(turn), size * np.cos(turn)))).real
    scan = scanned(sheet, np.clip(moved, 0, 1))
    value = asked(Fringe, scan)[0]["red_green"].value
    good = isinstance(value, float) and abs(value - size) <= 0.05
    yield Trial("shift within 0.05 px", good, f"{sheet.name}: {size} read {value} (before {values[0]})", scan)


def _travel(sheet: Sheet) -> Iterator[Trial]:
    rng = np.random.default_rng((sheet.seed, 36))
    scan = scanned(sheet)
    clean = asked(Travel, scan)[0]
    wander = clean["wander"]
    value = float(wander.value or 0.0)
    told = f"{sheet.name}: wander {wander.value} certain {wander.certain}"
    yield Trial("sound below 1 px", value < WANDER_NOTE_PX, told, scan)
    yield Trial("sound, no certain wander from 3 px", value < WANDER_FAULT_PX or not wander.certain, told, scan)
    yield Trial("sound, no rows", not clean["rows"].value, f"{sheet.name}: {clean['rows']}", scan)
    rows = len(scan.pixels)
    at, size = int(rows * rng.uniform(0.2, 0.8)), float(rng.choice([-1, 1]) * rng.uniform(1.0, 12.0))
    slipped = with_pixels(scan, _slip(scan.pixels, at, size))
    seen = asked(Travel, slipped)[0]["wander"]
    yield Trial("slip of 1 to 12 px judged", seen.value is not None, sheet.name, slipped)
    if seen.value is None:
        return
    close = abs(abs(size) - float(seen.value)) <= 0.5
    told = f"{sheet.name}: {size:.2f} at {at} read {seen}"
    yield Trial("slip found, size within 0.5 px", close, told, slipped)
    doubled = with_pixels(scan, np.concatenate([scan.pixels[:at], scan.pixels[at - 3 :]]))
    count = asked(Travel, doubled, scan)[0]["rows"].value
    yield Trial("three doubled rows counted", count == 3, f"{sheet.name}: {count}", doubled)


def _slip(pixels: Pixels, row: int, shift_px: float) -> Pixels:
    """Everything from that row on lies to the right by so many pixels; nothing else changes."""
    moved = pixels.astype(np.float32)
    turn = np.array([[1, 0, shift_px], [0, 1, 0]], np.float64)
    size = (pixels.shape[1], pixels.shape[0] - row)
    below = cv2.warpAffine(moved[row:], turn, size, flags=cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REFLECT)
    moved[row:] = np.asarray(below).reshape(moved[row:].shape)
    return np.rint(np.clip(moved, 0, np.iinfo(pixels.dtype).max)).astype(pixels.dtype)


def _likeness(sheet: Sheet) -> Iterator[Trial]:
    first, again = (scanned(sheet, again=k) for k in (1, 2))
    same = _alike(first, again)
    told = f"{sheet.name}: {same}"
    yield Trial("scanned again, not called another", same.same or not same.certain, told, again)
    yield Trial("scanned again, surely the same", same.same and same.certain, told, again)
    # not its mirror image: the relief is laid by mirroring and is its own
    rows, columns = sheet.surface.shape[:2]
    other = scanned(dataclasses.replace(sheet, surface=surfaces.strokes(rows, columns, sheet.seed + 7)), again=2)
    differs = _alike(first, other)
    told = f"{sheet.name}: {differs}"
    yield Trial("another picture, not called the same", not differs.certain or not differs.same, told, first)
    yield Trial("another picture, surely another", differs.certain and not differs.same, told, first)


def _alike(first: scans.Scan, second: scans.Scan) -> Likeness:
    """As the daemon asks: with the millimetres a pixel of each thumb stands for."""
    scale = max(second.pixels.shape) / max(first.pixels.shape)
    return same_picture(_thumb(first), _thumb(second), scale)


def _thumb(scan: scans.Scan) -> np.ndarray:
    thumb = Thumb(scan.frame)
    for band in scans.bands(scan.pixels, 256):
        thumb.see(band)
    return thumb.picture()


def _group(name: str, title: str, trial: Callable[[Sheet], Iterator[Trial]], aims: dict[str, float]) -> Group:
    def trials(pictures: Pictures, seeds: range, options: Options) -> Iterator[Trial]:
        for sheet in sheets(pictures, seeds, options):
            yield from trial(sheet)

    return Group(name, title, trials, aims)


GROUPS = (
    _group("streaks", "1 % in 1 to 4 columns", _streaks, {STREAK_FOUND: 98, STREAK_NONE: 99}),
    _group(
        "focus",
        "a fifth of the work blurred by 2 px",
        _focus,
        {SOFT_FOUND[True]: 90, SOFT_NONE[True]: 97, SOFT_NONE[False]: 97},
    ),
    _group("fringe", "channels out of register", _fringe, {}),
    _group("travel", "a slip, doubled rows", _travel, {}),
    _group("likeness", "the same work scanned again, and another", _likeness, {}),
)
