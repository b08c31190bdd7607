"""Rates of the checks that look at the whole scan: streaks, focus, fringe, travel, likeness.

    python tests/bench/eye_zones.py [--count N] [--seed S] [--set tuned|unseen|both] [--only CHECK] [--misses]
                                    [--rows N] [--pictures FOLDER] [--textures FOLDER]

Prints each rate with its count and Wilson 95 % interval. `tuned`: pictures and seeds that were looked at while the
checks were made. `unseen`: others. With a folder of one's own, all its pictures make one set.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import cv2
import numpy as np

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2] / "daemon"), str(HERE.parents[1])]

import scans  # noqa: E402
import surfaces  # noqa: E402
from scipy.ndimage import fourier_shift  # noqa: E402

from dawnproof.measure.band import Check, Pixels  # noqa: E402
from dawnproof.measure.focus import Focus  # noqa: E402
from dawnproof.measure.fringe import Fringe  # noqa: E402
from dawnproof.measure.likeness import Likeness, same_picture  # noqa: E402
from dawnproof.measure.outline import Outline, whole_frame  # noqa: E402
from dawnproof.measure.streaks import Streaks  # noqa: E402
from dawnproof.measure.thumb import Thumb  # noqa: E402
from dawnproof.measure.travel import Travel  # noqa: E402
from dawnproof.model import Reading  # noqa: E402

ROWS, COLUMNS = 1300, 1000  # a small part; real ones have three to ten times the rows
INVENTED: tuple[Callable[[int, int, int], surfaces.Surface], ...] = (
    surfaces.strokes,
    surfaces.paper,
    surfaces.laid,
    surfaces.weave,
    surfaces.drawing,
    surfaces.wash,
)
TUNED_PICTURES = ("painting_the_scream", "life_by", "seeding_by")
TUNED_TEXTURES = ("gravel", "brick")
TEXTURED = {"strokes", "paper", "laid", "weave"}


@dataclass
class Rate:
    """Successes out of trials, and what was missed."""

    name: str
    good: int = 0
    tried: int = 0
    misses: list[str] = field(default_factory=list)

    def add(self, good: bool, miss: str = "") -> None:
        self.good += good
        self.tried += 1
        if not good:
            self.misses.append(miss)

    def line(self) -> str:
        if not self.tried:
            return f"{self.name:52s} no trials"
        low, high = wilson(self.good, self.tried)
        return f"{self.name:52s} {self.good / self.tried:6.1%}  {self.good}/{self.tried}  [{low:.1%}, {high:.1%}]"


def wilson(good: int, tried: int, z: float = 1.96) -> tuple[float, float]:
    """Wilson's 95 % interval of a rate."""
    rate, spread = good / tried, z * z / tried
    middle = (rate + spread / 2) / (1 + spread)
    half = z * np.sqrt(rate * (1 - rate) / tried + spread / (4 * tried)) / (1 + spread)
    return float(max(0.0, middle - half)), float(min(1.0, middle + half))


@dataclass(frozen=True)
class Sheet:
    """A work, its name for the list of misses, and whether it has texture all over."""

    name: str
    surface: surfaces.Surface
    textured: bool
    seed: int


def sheets(pictures: list[Path], textures: list[Path], count: int, seed: int) -> Iterator[Sheet]:
    """Pictures and invented surfaces in turn, with relief of 0 to 8 %."""
    made: list[Callable[[int], tuple[str, surfaces.Surface, bool]]] = [
        *(partial(_of_picture, path) for path in pictures),
        *(partial(_invented, work) for work in INVENTED),
    ]
    for k in range(count):
        one = seed + k
        name, surface, textured = made[k % len(made)](one)
        strength = float(np.random.default_rng((one, 31)).choice([0.0, 0.02, 0.04, 0.08]))
        if textures and strength:
            texture = surfaces.load(str(textures[one % len(textures)]))
            surface, textured = surfaces.relief(surface, texture, strength, one), True
            name += f"+{strength:.0%}"
        yield Sheet(f"{name} seed {one}", surface, textured, one)


def _of_picture(path: Path, seed: int) -> tuple[str, surfaces.Surface, bool]:
    return path.stem[:16], surfaces.from_picture(surfaces.load(str(path)), ROWS, COLUMNS, seed), False


def _invented(work: Callable[[int, int, int], surfaces.Surface], seed: int) -> tuple[str, surfaces.Surface, bool]:
    return work.__name__, work(ROWS, COLUMNS, seed), work.__name__ in TEXTURED


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


def asked(kind: type[Check], scan: scans.Scan, pixels: Pixels) -> tuple[dict[str, Reading], Check]:
    """Readings by name, and the check."""
    check = kind(dataclasses.replace(scan.frame, width_px=pixels.shape[1], height_px=pixels.shape[0]))
    for band in scans.bands(pixels, 256):
        check.see(band)
    return {reading.name: reading for reading in check.readings(outline_of(scan))}, check


def add_streak(pixels: Pixels, column: int, width: int, share: float, first: int, last: int) -> Pixels:
    """Rows first..last of the columns made lighter or darker by a share."""
    changed = pixels.astype(np.float32)
    changed[first:last, column : column + width] *= 1 + share
    return np.rint(np.clip(changed, 0, np.iinfo(pixels.dtype).max)).astype(pixels.dtype)


def streaks(sheet: Sheet) -> Iterator[tuple[str, bool, str]]:
    """On a bed with its lid, and of a part that fills its frame."""
    scan = scanned(sheet)
    lid = scan.frame.bed.lid if scan.box.width < scan.frame.width_px else "none"
    yield from _streaked(sheet, scan, "white or grey lid" if lid in {"white", "grey"} else f"lid {lid}")
    if lid != "none":
        yield from _streaked(sheet, scanned_bare(sheet), "lid none")


def scanned_bare(sheet: Sheet) -> scans.Scan:
    """The sheet fills the frame, as a part's scan does."""
    rng = np.random.default_rng((sheet.seed, 37))
    depth = int(rng.choice([16, 16, 16, 8]))
    return scans.make_scan(
        sheet.surface, None, noise=float(rng.uniform(0.001, 0.005)), depth_bits=depth, seed=sheet.seed
    )


def _streaked(sheet: Sheet, scan: scans.Scan, lid: str) -> Iterator[tuple[str, bool, str]]:
    rng = np.random.default_rng((sheet.seed, 33))
    rows, columns = scan.pixels.shape[:2]
    clean, _ = asked(Streaks, scan, scan.pixels)
    told = f"{sheet.name} {lid}: {clean['worst'].value} % certain {clean['worst'].certain} {clean['worst'].where}"
    yield f"streaks: none on a sound scan, {lid}", clean["count"].value == 0, told
    yield "streaks: no certain one on a sound scan", clean["count"].value == 0 or not clean["worst"].certain, told
    width, column = int(rng.integers(1, 5)), int(rng.integers(8, columns - 12))
    share = float(rng.choice([-0.01, 0.01]))
    for length, how in ((rows, "full height"), (int(rows * rng.uniform(0.4, 1.0)), "40 to 100 % of the height")):
        first = int(rng.choice([0, rows - length]))
        streaked = add_streak(scan.pixels, column, width, share, first, first + length)
        _readings, check = asked(Streaks, scan, streaked)
        assert isinstance(check, Streaks)
        centre = column + (width - 1) / 2
        near = [s for s in check.streaks() if abs(s.column - centre) <= 1.0]
        miss = f"{sheet.name}: {share:+.0%} {width} px at {column}, rows {length}/{rows}; found {check.streaks()}"
        yield f"streaks: 1 % found within 1 px, {lid}, {how}", bool(near), miss
        if near and length == rows:
            yield f"streaks: strength within 0.2 %, {lid}", abs(near[0].strength - share) <= 0.002, miss


def soften(surface: surfaces.Surface, seed: int) -> surfaces.Surface:
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


def focus(sheet: Sheet) -> Iterator[tuple[str, bool, str]]:
    limit = 0.6
    kind = "textured" if sheet.textured else "without texture all over"
    clean = asked(Focus, scan := scanned(sheet), scan.pixels)[0]["softest"]
    value = clean.value if isinstance(clean.value, float) else None
    yield f"focus: sound, {kind}", value is None or value >= limit, f"{sheet.name}: {value}"
    soft = asked(Focus, scan := scanned(sheet, soften(sheet.surface, sheet.seed)), scan.pixels)[0]["softest"]
    seen = soft.value if isinstance(soft.value, float) else None
    yield f"focus: soft fifth found, {kind}", seen is not None and seen < limit, f"{sheet.name}: {seen} ({value})"


def fringe(sheet: Sheet) -> Iterator[tuple[str, bool, str]]:
    rng = np.random.default_rng((sheet.seed, 35))
    clean = asked(Fringe, scan := scanned(sheet), scan.pixels)[0]
    values = [reading.value for reading in clean.values()]
    if all(value is None for value in values):
        yield "fringe: judged", False, sheet.name
        return
    yield "fringe: judged", True, ""
    yield "fringe: sound below 0.33 px", all(float(v or 0) < 0.33 for v in values), f"{sheet.name}: {values}"
    size = float(rng.choice([0.30, 0.36, 0.6, 0.9]))
    turn = rng.uniform(0, 2 * np.pi)
    moved = sheet.surface.copy()
    spectrum = np.fft.fft2(moved[..., 0])
    moved[..., 0] = np.fft.ifft2(fourier_shift(spectrum, (size * np.sin(turn), size * np.cos(turn)))).real
    scan = scanned(sheet, np.clip(moved, 0, 1))
    value = asked(Fringe, scan, scan.pixels)[0]["red_green"].value
    good = isinstance(value, float) and abs(value - size) <= 0.05
    yield "fringe: shift within 0.05 px", good, f"{sheet.name}: {size} read {value} (before {values[0]})"


def travel(sheet: Sheet) -> Iterator[tuple[str, bool, str]]:
    rng = np.random.default_rng((sheet.seed, 36))
    scan = scanned(sheet)
    clean = asked(Travel, scan, scan.pixels)[0]
    wander = clean["wander"]
    value = float(wander.value or 0.0)
    told = f"{sheet.name}: wander {wander.value} certain {wander.certain}"
    yield "travel: sound below 1 px", value < 1.0, told
    yield "travel: sound, no certain wander from 3 px", value < 3.0 or not wander.certain, told
    yield "travel: sound, no rows", not clean["rows"].value, f"{sheet.name}: {clean['rows']}"
    rows = len(scan.pixels)
    at, size = int(rows * rng.uniform(0.2, 0.8)), float(rng.choice([-1, 1]) * rng.uniform(1.0, 12.0))
    slipped = slip(scan.pixels, at, size)
    seen = asked(Travel, scan, slipped)[0]["wander"]
    if seen.value is None:
        yield "travel: slip of 1 to 12 px judged", False, sheet.name
        return
    yield "travel: slip of 1 to 12 px judged", True, ""
    close = abs(abs(size) - float(seen.value)) <= 0.5
    yield "travel: slip found, size within 0.5 px", close, f"{sheet.name}: {size:.2f} at {at} read {seen}"
    doubled = np.concatenate([scan.pixels[:at], scan.pixels[at - 3 :]])
    count = asked(Travel, scan, doubled)[0]["rows"].value
    yield "travel: three doubled rows counted", count == 3, f"{sheet.name}: {count}"


def slip(pixels: Pixels, row: int, shift_px: float) -> Pixels:
    """Everything from that row on lies to the right by so many pixels; nothing else changes."""
    moved = pixels.astype(np.float32)
    turn = np.array([[1, 0, shift_px], [0, 1, 0]], np.float64)
    size = (pixels.shape[1], pixels.shape[0] - row)
    below = cv2.warpAffine(moved[row:], turn, size, flags=cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REFLECT)
    moved[row:] = np.asarray(below).reshape(moved[row:].shape)
    return np.rint(np.clip(moved, 0, np.iinfo(pixels.dtype).max)).astype(pixels.dtype)


def likeness(sheet: Sheet) -> Iterator[tuple[str, bool, str]]:
    first, again = (scanned(sheet, again=k) for k in (1, 2))
    same = _likeness(first, again)
    yield "likeness: scanned again, not called another", same.same or not same.certain, f"{sheet.name}: {same}"
    yield "likeness: scanned again, surely the same", same.same and same.certain, f"{sheet.name}: {same}"
    # not its mirror image: the relief is laid by mirroring and is its own
    other = dataclasses.replace(sheet, surface=surfaces.strokes(ROWS, COLUMNS, sheet.seed + 7))
    differs = _likeness(first, scanned(other, again=2))
    told = f"{sheet.name}: {differs}"
    yield "likeness: another picture, not called the same", not differs.certain or not differs.same, told
    yield "likeness: another picture, surely another", differs.certain and not differs.same, told


def _likeness(first: scans.Scan, second: scans.Scan) -> Likeness:
    """As the daemon asks: with the millimetres a pixel of each thumb stands for."""
    scale = max(second.pixels.shape) / max(first.pixels.shape)
    return same_picture(_thumb(first), _thumb(second), scale)


def _thumb(scan: scans.Scan) -> np.ndarray:
    thumb = Thumb(scan.frame)
    for band in scans.bands(scan.pixels, 256):
        thumb.see(band)
    return thumb.picture()


TRIALS = {"streaks": streaks, "focus": focus, "fringe": fringe, "travel": travel, "likeness": likeness}


def sources(which: str, arguments: argparse.Namespace) -> tuple[list[Path], list[Path], int]:
    """Pictures, textures and first seed of a set."""
    if arguments.pictures:
        return _images(arguments.pictures), _images(arguments.textures), arguments.seed
    pictures = _images(surfaces.SHARED / "pictures")
    textures = _images(surfaces.SHARED / "textures")
    tuned = which == "tuned"
    return (
        [p for p in pictures if p.name.startswith(TUNED_PICTURES) == tuned],
        [t for t in textures if (t.stem in TUNED_TEXTURES) == tuned],
        arguments.seed if tuned else arguments.seed + 100_000,
    )


def _images(folder: Path | None) -> list[Path]:
    return sorted(p for p in folder.iterdir() if p.suffix in {".png", ".jpg", ".tif"}) if folder else []


def main() -> None:
    global ROWS
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--set", choices=["tuned", "unseen", "both"], default="both")
    parser.add_argument("--only", choices=list(TRIALS))
    parser.add_argument("--misses", action="store_true")
    parser.add_argument("--rows", type=int, default=ROWS, help="height of the works")
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--textures", type=Path)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    ROWS = arguments.rows
    for which in ("tuned", "unseen") if arguments.set == "both" else (arguments.set,):
        pictures, textures, seed = sources(which, arguments)
        print(f"{which}: {arguments.count} scans of {ROWS} x {COLUMNS}, seeds from {seed}, {len(pictures)} pictures")
        rates: dict[str, Rate] = {}
        for sheet in sheets(pictures, textures, arguments.count, seed):
            for name, trial in TRIALS.items():
                if arguments.only in (None, name):
                    for rate, good, miss in trial(sheet):
                        rates.setdefault(rate, Rate(rate)).add(good, miss)
        for found in rates.values():
            print("  " + found.line())
            if arguments.misses:
                for miss in found.misses:
                    print("      " + miss)


if __name__ == "__main__":
    main()
