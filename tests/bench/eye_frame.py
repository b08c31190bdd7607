"""Rates of the checks that look at frame and coding: crop, clipping, bits really used, enlarged scans.

    python tests/bench/eye_frame.py [--count N] [--seed S] [--set tuned|unseen|both] [--only CHECK] [--misses]
                                    [--pictures FOLDER]

Prints each rate with its count and Wilson 95 % interval. `tuned`: seeds and pictures that were looked at while the
checks were made. `unseen`: other seeds, and other pictures that scikit-image brings along. With a folder of one's own,
its pictures take their place.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2] / "daemon"), str(HERE.parents[1]), str(HERE.parent)]

import skimage  # noqa: E402
import surfaces  # noqa: E402
from beds import Thing, Truth, lay_out  # noqa: E402
from eye_zones import Rate  # type: ignore[import-not-found]  # noqa: E402
from scans import Camera, Stitch, bands, bed_of, cameras, code, frame_of, see, two_cameras  # noqa: E402

from dawnproof.measure.band import Check  # noqa: E402
from dawnproof.measure.border import BorderCheck  # noqa: E402
from dawnproof.measure.clipping import ClippingCheck  # noqa: E402
from dawnproof.measure.depth import proven_bits  # noqa: E402
from dawnproof.measure.outline import Outline, whole_frame  # noqa: E402
from dawnproof.measure.resolution import ResolutionCheck  # noqa: E402
from dawnproof.model import Bed, Reading  # noqa: E402

Pixels = npt.NDArray[np.unsignedinteger]
PPI = 300.0
MM = 25.4 / PPI
ROWS, COLUMNS = 1300, 1600
LIDS = ("white", "white", "grey", "black", "open")
INVENTED = (surfaces.paper, surfaces.wash, surfaces.strokes, surfaces.drawing, surfaces.laid, surfaces.weave)
LOOKED_AT = ("coffee.png", "chelsea.png", "page.png", "moon.png", "motorcycle_left.png", "rocket.jpg")
UNSEEN_PICTURES = ("ihc.png", "retina.jpg", "coins.png", "cell.png", "clock_motion.png", "color.png")

CROP_RATES = (
    "outline found",
    "never inside",
    "all sides in 0.5 mm",
    "skew in 0.05 degrees",
    "skew said to be known so (sure 0.9)",
    "and it is",
    "skew in twice its own standard error",
)


@dataclass(frozen=True)
class Set:
    """Seeds from `seed` on, and the pictures that go with them."""

    name: str
    seed: int
    pictures: tuple[Path, ...]

    def work(self, rows: int, columns: int, seed: int, halve: bool = True) -> tuple[str, surfaces.Surface]:
        rng = np.random.default_rng((seed, 41))
        if self.pictures and rng.random() < 0.35:
            path = self.pictures[int(rng.integers(len(self.pictures)))]
            return path.stem[:16], surfaces.from_picture(surfaces.load(str(path)), rows, columns, seed, halve)
        make = INVENTED[int(rng.integers(len(INVENTED)))]
        return make.__name__, make(rows, columns, seed)


def crop(chosen: Set, count: int) -> Iterator[Rate]:
    """Works with cut and with rough edges on all lids, a stitch in half of the scans. A skew that the check says it
    does not know to 0.05 degrees is counted as it is given, and apart from those it says it knows."""
    rates = {kind: [Rate(f"crop, {kind} edges: {what}") for what in CROP_RATES] for kind in ("cut", "rough")}
    for seed in range(chosen.seed, chosen.seed + count):
        name, pixels, truth, rough, lid = _scene(chosen, seed)
        frame = frame_of(pixels, PPI, Bed("bed-a", COLUMNS * MM, ROWS * MM, lid=lid))
        check = BorderCheck(frame)
        _show(check, pixels)
        outline = check.outline()
        found, never_inside, near, straight, known, right, own = rates["rough" if rough else "cut"]
        found.add(outline.found, f"{name}: {outline.why}")
        if not outline.found or outline.skew_deg is None:
            continue
        off = _beyond_mm(outline, truth)
        never_inside.add(float(off.min()) >= 0, f"{name}: {off.round(2)}")
        near.add(float(off.min()) >= 0 and float(off.max()) <= 0.5, f"{name}: {off.round(2)}")
        turned = outline.skew_deg - truth.skew_deg
        told = f"{name}: {turned:.3f}, standard error {outline.skew_error_deg:.3f}"
        straight.add(abs(turned) <= 0.05, told)
        sure = next(reading.sure for reading in check.readings(outline) if reading.name == "skew") >= 0.9
        known.add(sure, told)
        if sure:
            right.add(abs(turned) <= 0.05, told)
        own.add(abs(turned) <= 2 * outline.skew_error_deg, told)
    for kind in rates.values():
        yield from kind


def _scene(chosen: Set, seed: int) -> tuple[str, Pixels, Truth, bool, str]:
    rng = np.random.default_rng((seed, 99))
    lid = LIDS[int(rng.integers(len(LIDS)))]
    rows, columns = int(rng.integers(500, 1050)), int(rng.integers(500, 1300))
    skew = float(rng.uniform(-3, 3)) if rng.random() < 0.5 else float(rng.normal(0, 0.3))
    name, work = chosen.work(rows, columns, seed)
    x = float(rng.uniform(columns / 2 + 60, COLUMNS - columns / 2 - 60))
    y = float(rng.uniform(rows / 2 + 60, ROWS - rows / 2 - 60))
    rough = float(rng.choice([0, 0, 0, 4, 10]))
    fall = None if rng.random() < 0.5 else (float(rng.uniform(-5, 5)), float(rng.uniform(-5, 5)))
    shadow, wide = float(rng.choice([0.05, 0.15, 0.3])), float(rng.uniform(2, 9))
    thing = Thing(work, (x, y), skew, rough, float(rng.uniform(4, 12)), shadow, wide, fall)
    bed, (truth,) = lay_out(ROWS, COLUMNS, lid, [thing], seed)
    noise = float(rng.choice([0.001, 0.002, 0.004]))
    if rng.random() < 0.5:
        left, right = cameras(seed, noise=noise)
        view = two_cameras(bed, Stitch(COLUMNS / 2, left=left, right=right), seed)
    else:
        view = see(bed, Camera(noise=noise), 0.0, 0.0, seed)
    text = f"{seed} {name} on {lid}, skew {skew:.2f}, rough {rough}, shadow {shadow} over {wide:.1f} px"
    return text, code(view), truth, rough > 0, lid


def _beyond_mm(outline: Outline, truth: Truth) -> npt.NDArray[np.float64]:
    box = outline.box
    return np.array([truth.left - box.x, truth.top - box.y, box.right - truth.right, box.bottom - truth.bottom]) * MM


def clipping(chosen: Set, count: int) -> Iterator[Rate]:
    """Exposed too long, or clipped before a profile was applied; all six shares against a plain count."""
    equal, region = Rate("clipping: six shares equal a plain count"), Rate("clipping: sound scans without a region")
    for seed in range(chosen.seed, chosen.seed + count):
        rng = np.random.default_rng((seed, 7))
        name, work = chosen.work(500, 700, seed)
        gain = float(rng.choice([1.0, 1.1, 1.3]))
        end = 65535 if rng.random() < 0.5 else int(rng.integers(58000, 65000))
        bed, _ = lay_out(
            640, 860, "grey", [Thing(work * np.float32(gain), (430, 320), float(rng.normal(0, 0.8)))], seed
        )
        pixels = np.minimum(code(see(bed * np.float32(gain), Camera(noise=0.002), 0, 0, seed)), end).astype(np.uint16)
        frame = frame_of(pixels, PPI, bed_of(pixels, PPI))
        border, check = BorderCheck(frame), ClippingCheck(frame)
        _show(border, pixels)
        _show(check, pixels)
        outline = border.outline()
        found = {r.name: r for r in check.readings(outline)}
        equal.add(_equal(found, pixels, outline, end), f"{seed} {name} gain {gain} end {end}")
        if gain == 1.0 and not (pixels == end).all(axis=2).any():
            region.add(found["region"].value == 0.0, f"{seed} {name}: {found['region'].value} mm2")
    yield from (equal, region)


def shine(chosen: Set, count: int) -> Iterator[Rate]:
    """Varnish and metal leaf, which glint and must not be called clipped, and paper driven over the end, which must."""
    rates = {
        kind: (Rate(f"clipping: no fault by {kind}"), Rate(f"clipping: no note by {kind}"))
        for kind in ("varnish", "metal leaf")
    }
    equal = Rate("clipping: glints, three shares equal a plain count")
    paper = Rate("clipping: blown paper of 25 mm2 and more found")
    sure = Rate("clipping: and surely, so that it is a fault")
    for seed in range(chosen.seed, chosen.seed + count):
        rng = np.random.default_rng((seed, 17))
        name, work = chosen.work(560, 760, seed)
        for kind, make in (("varnish", surfaces.varnished), ("metal leaf", surfaces.gilded)):
            pixels = code(see(make(work * np.float32(0.9), seed), Camera(noise=0.002, blur_px=0.5), 0, 0, seed))
            found = _clipping(pixels)
            area = float(found["region"].value or 0)
            fault, note = rates[kind]
            fault.add(area <= 25.0 or not found["region"].certain, f"{seed} {name}: {area} mm2")
            note.add(area <= 4.0, f"{seed} {name}: {area} mm2")
            counts = [100 * float((pixels[..., k] == 65535).mean()) for k in range(3)]
            told = [float(found[f"high_{channel}"].value or 0) for channel in ("red", "green", "blue")]
            equal.add(bool(np.allclose(told, counts, atol=1e-4)), f"{seed} {name} {kind}: {told} for {counts}")
        sheet = (surfaces.drawing, surfaces.paper, surfaces.laid, surfaces.wash)[seed % 4](560, 760, seed)
        blown = sheet * np.float32(rng.uniform(1.12, 1.5))
        pixels = code(see(blown, Camera(noise=0.003, blur_px=0.5), 0, 0, seed))
        if _largest_mm2(pixels) >= 25.0:
            region = _clipping(pixels)["region"]
            value = float(region.value or 0)
            paper.add(value > 25.0, f"{seed}: {value} mm2 of {_largest_mm2(pixels):.0f}")
            sure.add(value > 25.0 and region.certain, f"{seed}: {value} mm2 of {_largest_mm2(pixels):.0f}")
    yield from (*rates["varnish"], *rates["metal leaf"], equal, paper, sure)


def _clipping(pixels: Pixels) -> dict[str, Reading]:
    frame = frame_of(pixels, PPI, bed_of(pixels, PPI))
    check = ClippingCheck(frame)
    _show(check, pixels)
    return {r.name: r for r in check.readings(whole_frame(frame.width_px, frame.height_px))}


def _largest_mm2(pixels: Pixels) -> float:
    """Of the connected areas in which every channel is at the type's end."""
    _, _, stats, _ = cv2.connectedComponentsWithStats((pixels == 65535).all(axis=2).astype(np.uint8), connectivity=4)
    return float(stats[1:, cv2.CC_STAT_AREA].max(initial=0)) * MM**2


def _equal(found: dict[str, Reading], pixels: Pixels, outline: Outline, end: int) -> bool:
    spans = [outline.rows_span(row) for row in range(len(pixels))]
    inside = np.zeros(pixels.shape[:2], bool)
    for row, (left, right) in enumerate(spans):
        inside[row, left:right] = True
    work = pixels[inside]
    good = True
    for channel, name in enumerate(("red", "green", "blue")):
        for side, value in (("high", end), ("low", 0)):
            share = 100 * float((work[:, channel] == value).mean())
            at_type_end = value in (0, 65535)
            told = float(found[f"{side}_{name}"].value or 0)
            # a few pixels at a lower end are no flat spike and need not be told
            good &= abs(told - share) < 1e-4 or (not at_type_end and told == 0.0 and share < 0.05)
    return good


def depth(chosen: Set, count: int) -> Iterator[Rate]:
    """Real and invented works quantised to fewer bits in every way, and the same works with all their bits."""
    exact, sound = Rate("depth_true: exact in the provable cases"), Rate("depth_true: sound scans not accused")
    for seed in range(chosen.seed, chosen.seed + count):
        rng = np.random.default_rng((seed, 8))
        name, work = chosen.work(400, 500, seed)
        view = np.clip(see(work, Camera(noise=float(rng.choice([0.001, 0.003]))), 0, 0, seed), 0, 1)
        power = float(rng.choice([1.0, 1 / 1.8, 1 / 2.2, 1.2]))
        levels = code(view)[:, :, 1].ravel().astype(np.float64) / 65535
        full = np.rint(levels**power * 65535).astype(np.int64)
        sound.add(proven_bits(np.bincount(full, minlength=65536)) in (16, None), f"{seed} {name} power {power:.2f}")
        bits = int(rng.choice([8, 10, 12, 14]))
        codes = np.rint(levels * (2**bits - 1)).astype(np.int64)
        way = int(rng.integers(3))
        scaled = np.rint(codes * 65535 / (2**bits - 1)).astype(np.int64)
        repeated = (codes << (16 - bits)) | (codes >> max(2 * bits - 16, 0))
        values = (codes << (16 - bits), repeated, scaled)[way]
        told = proven_bits(np.bincount(values, minlength=65536))
        if len(np.unique(values)) >= 32:
            exact.add(told == bits, f"{seed} {name}: {told} for {bits} bits, way {way}")
    yield from (exact, sound)


def enlarged(chosen: Set, count: int) -> Iterator[Rate]:
    """Native scans with lenses and noise of many kinds, soft works and sharpened scans among them, and the same
    enlarged by 1.25 to 2."""
    found, near = Rate("enlarged x1.25 to x2: found"), Rate("enlarged: factor within 0.05, of those found")
    accused = Rate("native scans not called enlarged")
    for seed in range(chosen.seed, chosen.seed + count):
        rng = np.random.default_rng((seed, 9))
        name, work = chosen.work(1000, 1200, seed, halve=bool(rng.random() < 0.7))
        noise, blur = float(10 ** rng.uniform(-3.3, -2.3)), float(rng.choice([0, 0, 0.4, 0.7, 1.0]))
        if rng.random() < 0.25:
            work, name = np.asarray(cv2.GaussianBlur(work, (0, 0), float(rng.uniform(1.5, 4)))), name + " soft"
        native = code(see(work, Camera(noise=noise, blur_px=blur), 0, 0, seed))
        keen = float(rng.choice([0, 0, 0.3, 0.6, 1.0]))
        native = code(_sharpened(native.astype(np.float32) / np.float32(65535), keen))
        label = f"{seed} {name} noise {noise:.4f} blur {blur} sharp {keen}"
        told = _detail(native)
        accused.add(told is None, f"{label}: x{told or 0:.2f}")
        factor = float(rng.choice([1.25, 1.3, 1.4, 1.5, 1.6, 1.8, 2.0]))
        way, sharp = int(rng.integers(4)), float(rng.choice([0, 0, 0.3, 0.6]))
        told = _detail(_enlarge(native, factor, way, sharp)[:1300, :1500])
        label += f" x{factor} way {way} sharpened {sharp}"
        found.add(told is not None, label)
        if told is not None:
            near.add(abs(told - factor) < 0.05, f"{label}: {told:.2f}")
    yield from (found, near, accused)


def _detail(pixels: Pixels) -> float | None:
    frame = frame_of(pixels, PPI, bed_of(pixels, PPI))
    check = ResolutionCheck(frame)
    _show(check, pixels)
    reading = next(r for r in check.readings(whole_frame(frame.width_px, frame.height_px)) if r.name == "detail_x")
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


def _show(check: Check, pixels: Pixels) -> None:
    for band in bands(pixels, 256):
        check.see(band)


BENCHES: dict[str, Callable[[Set, int], Iterator[Rate]]] = {
    "crop": crop,
    "clipping": clipping,
    "shine": shine,
    "depth": depth,
    "enlarged": enlarged,
}


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--seed", type=int)
    parser.add_argument("--set", choices=("tuned", "unseen", "both"), default="both")
    parser.add_argument("--only", choices=tuple(BENCHES))
    parser.add_argument("--misses", action="store_true")
    parser.add_argument("--pictures", type=Path)
    asked: Any = parser.parse_args(arguments)
    for chosen in _sets(asked):
        print(f"{chosen.name}: seeds {chosen.seed} to {chosen.seed + asked.count - 1}, {len(chosen.pictures)} pictures")
        for name in [asked.only] if asked.only else BENCHES:
            for rate in BENCHES[name](chosen, asked.count):
                print("  " + rate.line(), flush=True)
                if asked.misses:
                    print("".join(f"      {miss}\n" for miss in rate.misses), end="")


def _sets(asked: Any) -> list[Set]:
    seed = 0 if asked.seed is None else asked.seed
    if asked.pictures:
        files = tuple(
            p for p in sorted(asked.pictures.iterdir()) if p.suffix.lower() in {".png", ".jpg", ".tif", ".tiff"}
        )
        return [Set(str(asked.pictures), seed, files)]
    known = surfaces.SHARED / "pictures"
    folder = Path(skimage.__file__).parent / "data"
    looked_at = tuple(folder / name for name in LOOKED_AT if (folder / name).exists())
    tuned = Set("tuned", seed, (*sorted(known.iterdir()), *looked_at) if known.is_dir() else looked_at)
    unseen = Set("unseen", 900_000 + seed, tuple(folder / n for n in UNSEEN_PICTURES if (folder / n).exists()))
    return [s for s in (tuned, unseen) if asked.set in (s.name, "both")]


if __name__ == "__main__":
    cv2.setNumThreads(2)
    main(sys.argv[1:])
