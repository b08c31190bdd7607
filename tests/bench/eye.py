"""Rates of the stitch check on scans made from real pictures, with 95 % intervals (Wilson) and a list of the misses.

    python tests/bench/eye.py [FOLDER ...] [--seeds A:B] [--only seam] [--rows flat,big,...]
                              [--set tuned|unseen|both|none] [--keep FOLDER] [--place known|unknown]

FOLDER: pictures of one's own; a folder with 'texture' in its name gives relief instead. Without a folder the pictures
of ../shared/testdata and of scikit-image are used, those that were looked at while the check was made ("tuned") apart
from the others ("unseen"). `--keep` writes each missed scan there as a TIFF. The other checks have benches of their own
beside this one (eye_*.py).
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import skimage

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2] / "daemon"), str(HERE.parents[1])]

import scans  # noqa: E402
import surfaces  # noqa: E402

from dawnproof.measure.outline import whole_frame  # noqa: E402
from dawnproof.measure.seam import SeamCheck  # noqa: E402
from dawnproof.model import MM_PER_INCH, Bed, Reading  # noqa: E402

COLUMNS, ROWS, LONG_ROWS = 1500, 1200, 2400
TUNED = ("coffee", "chelsea", "ihc", "motorcycle_left", "rocket", "starry_night", "Picture_0B", "seeding")
TUNED_TEXTURES = ("gravel", "brick")
UNFIT = ("chessboard", "horse", "logo", "phantom", "motorcycle_right", "color", "microaneurysms", "clock_motion")
LEAST_SIDE = 250
NOTE_PX, FAULT_PX = 1.0, 2.0  # the limits of the shipped rule book


@dataclass(frozen=True)
class Pictures:
    """One set of pictures and textures."""

    name: str
    works: tuple[Path, ...]
    textures: tuple[Path, ...]


@dataclass(frozen=True)
class Made:
    """A scan and what is true of it: doubling of each row, px, and a line that says how it was made."""

    scan: scans.Scan
    truth_px: scans.Profile
    told: str


@dataclass
class Row:
    """One line of the table."""

    name: str
    aim: str
    good: int = 0
    tried: int = 0
    misses: list[str] = field(default_factory=list)

    def count(self, good: bool, told: str) -> None:
        self.tried += 1
        self.good += good
        if not good:
            self.misses.append(told)

    def line(self) -> str:
        low, high = wilson(self.good, self.tried)
        rate = 100 * self.good / max(self.tried, 1)
        return (
            f"{self.name:46s} {self.aim:>9s} {self.good:5d}/{self.tried:<5d} {rate:6.1f} %  [{low:5.1f}, {high:5.1f}]"
        )


def wilson(good: int, tried: int) -> tuple[float, float]:
    """95 % interval of a rate, in percent (Wilson 1927)."""
    if tried == 0:
        return 0.0, 100.0
    z, share = 1.96, good / tried
    middle = (share + z * z / (2 * tried)) / (1 + z * z / tried)
    half = z / (1 + z * z / tried) * np.sqrt(share * (1 - share) / tried + z * z / (4 * tried**2))
    return float(100 * max(middle - half, 0.0)), float(100 * min(middle + half, 1.0))


def picture_sets(folders: list[Path]) -> list[Pictures]:
    shared, own = HERE.parents[3] / "shared" / "testdata", Path(skimage.__file__).parent / "data"
    textures = sorted((shared / "textures").glob("*.png"))
    if folders:
        given = [path for folder in folders for path in sorted(folder.iterdir()) if _usable(path)]
        relief = tuple(p for p in given if "texture" in p.parent.name) or tuple(textures)
        return [Pictures("given", tuple(p for p in given if "texture" not in p.parent.name), relief)]
    works = (
        [*sorted((shared / "pictures").iterdir()), *sorted(own.iterdir())] if shared.is_dir() else sorted(own.iterdir())
    )
    works = [p for p in works if _usable(p) and p.stem not in {t.stem for t in textures} and not _any(p, UNFIT)]
    sets = []
    for name, wanted in (("tuned", True), ("unseen", False)):
        sets.append(
            Pictures(
                name,
                tuple(p for p in works if _any(p, TUNED) is wanted),
                tuple(t for t in [*textures, own / "moon.png"] if _any(t, TUNED_TEXTURES) is wanted),
            )
        )
    return sets


def _any(path: Path, words: tuple[str, ...]) -> bool:
    return any(word in path.name for word in words)


def _usable(path: Path) -> bool:
    if path.suffix.lower() not in {".png", ".jpg", ".jpeg", ".tif", ".tiff"}:
        return False
    picture = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    return picture is not None and picture.ndim >= 2 and min(picture.shape[:2]) >= LEAST_SIDE


def make(pictures: Pictures, seed: int, kind: str, place_known: bool = True) -> Made:
    """A scan of one kind: flat, long (flat, as high as the next), part (5-20 px over 15 % of the stitch), big (5-40
    px), mid (2-5), small (1-2), step (a gain of 2.5 to 6 % between the cameras), shift (0.7 to 4 px down or up).
    Without its place on the bed the stitch is searched for over the whole width."""
    rng = np.random.default_rng((seed, sum(map(ord, kind + pictures.name))))
    rows = LONG_ROWS if kind in {"long", "part"} else ROWS
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


def seam_rows(
    pictures: Pictures, seeds: range, kinds: list[str], keep: Path | None, place_known: bool = True
) -> Iterator[Row]:
    for kind in ("flat", "long"):
        if kind in kinds:
            yield from _flat(pictures, seeds, kind, keep, place_known)
    for kind, aim in (("big", "99.5 %"), ("mid", "97 %"), ("small", "50 %"), ("part", "97 %")):
        if kind in kinds:
            yield from _doubled(pictures, seeds, kind, aim, keep, place_known)
    if "step" in kinds:
        yield from _stepped(pictures, seeds)
    if "shift" in kinds:
        yield from _shifted(pictures, seeds)


def _stepped(pictures: Pictures, seeds: range) -> Iterator[Row]:
    """By whether the views are cut or blended."""
    rows = {cut: (Row(f"step, {cut}: found", ""), Row(f"step, {cut}: certain", "")) for cut in ("cut", "blend")}
    for seed in seeds:
        made = make(pictures, seed, "step")
        reading = readings_of(made.scan)["step"]
        cut = "cut" if made.scan.stitches[0].blend_px == 0 else "blend"
        told = f"{made.told}: {reading.value} {reading.why}"
        seen = bool(reading.value)
        rows[cut][0].count(seen, told)
        rows[cut][1].count(seen and reading.certain, told)
    for pair in rows.values():
        yield from pair


def _shifted(pictures: Pictures, seeds: range) -> Iterator[Row]:
    rows = {
        cut: (Row(f"shift, {cut}: found", ""), Row(f"shift, {cut}: within 0.3 px, of those found", ""))
        for cut in ("cut", "blend")
    }
    for seed in seeds:
        made = make(pictures, seed, "shift")
        reading, stitch = readings_of(made.scan)["shift"], made.scan.stitches[0]
        told = f"{made.told}: {reading.value} {reading.why}"
        found, sized = rows["cut" if stitch.blend_px == 0 else "blend"]
        found.count(bool(reading.value), told)
        if reading.value:
            sized.count(abs(float(reading.value) - stitch.shift_px) <= 0.3, told)
    for pair in rows.values():
        yield from pair


def _flat(pictures: Pictures, seeds: range, kind: str, keep: Path | None, place_known: bool) -> Iterator[Row]:
    calm, decided = Row(f"{kind}: no wrong fault", "99.5 %"), Row(f"{kind}: said to be sound", "")
    noted = Row(f"{kind}: no note either", "")
    stepped = Row(f"{kind}: no note of a step (1 delta E)", "")
    shifted = Row(f"{kind}: no note of a shift (0.5 px)", "")
    for seed in seeds:
        made = make(pictures, seed, kind, place_known)
        readings = readings_of(made.scan)
        reading, step, shift = (readings[name] for name in ("doubling", "step", "shift"))
        stepped.count(abs(float(step.value or 0.0)) <= 1.0, f"{made.told}: step {step.value} certain {step.certain}")
        shifted.count(abs(float(shift.value or 0.0)) <= 0.5, f"{made.told}: shift {shift.value} {shift.certain}")
        told = f"{made.told}: {word(reading)} {reading.value} {reading.why}"
        calm.count(word(reading) != "fault", told)
        noted.count(word(reading) not in {"fault", "note"}, told)
        decided.count(word(reading) == "sound", told)
        _keep(keep, made, word(reading) == "fault")
    yield from (calm, noted, decided)
    yield from (stepped, shifted) if place_known else ()


def _doubled(
    pictures: Pictures, seeds: range, kind: str, aim: str, keep: Path | None, place_known: bool
) -> Iterator[Row]:
    found = Row(f"{kind}: not called sound" if kind == "big" else f"{kind}: found", aim)
    decided, sized = Row(f"{kind}: decided", "97 %"), Row(f"{kind}: size within 0.5 px, of those found", "95 %")
    placed, faulted = Row(f"{kind}: ends within 5 mm, of those found", "97 %"), Row(f"{kind}: a certain fault", "")
    for seed in seeds:
        made = make(pictures, seed, kind, place_known)
        reading = doubling_of(made.scan)
        said, truth = word(reading), float(made.truth_px.max())
        told = f"{made.told}: {said} {reading.value} {reading.why}"
        seen = reading.value is not None and float(reading.value) > 0.5
        found.count(said != "sound" if kind == "big" else seen, told)
        decided.count(reading.value is not None, told)
        faulted.count(said == "fault", told)
        if seen and reading.value is not None:
            sized.count(abs(float(reading.value) - truth) <= 0.5, told)
            placed.count(_place_right(reading, made), told)
        _keep(keep, made, not seen)
    yield found
    yield from (decided, faulted) if kind == "big" else ()
    yield sized
    yield from (placed,) if kind == "part" else ()


def _place_right(reading: Reading, made: Made) -> bool:
    lifted = np.flatnonzero(made.truth_px >= made.truth_px.max() / 2)
    if reading.where is None:
        return False
    first, last = made.scan.frame.mm_y(float(lifted[0])), made.scan.frame.mm_y(float(lifted[-1]))
    where = reading.where
    return abs(where.y_mm - first) <= 5.0 and abs(where.y_mm + where.height_mm - last) <= 5.0


def _keep(folder: Path | None, made: Made, missed: bool) -> None:
    if folder is not None and missed:
        folder.mkdir(parents=True, exist_ok=True)
        scans.write_tiff(folder / ("_".join(made.told.split()[:3]) + ".tif"), made.scan)


def named_rows(seeds: range) -> Iterator[Row]:
    for name in SOUND:
        row = Row(f"sound by name: {name}", "99 %")
        for seed in seeds:
            made = sound_case(name, seed)
            reading = doubling_of(made.scan)
            row.count(word(reading) != "fault", f"{made.told}: {word(reading)} {reading.value} {reading.why}")
        yield row


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--seeds", default="0:20")
    parser.add_argument("--only", choices=["seam"], default="seam")
    parser.add_argument("--rows", default="flat,long,big,mid,small,part,step,shift,named")
    parser.add_argument("--set", choices=["tuned", "unseen", "both", "none"], default="both")
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--place", choices=["known", "unknown"], default="known", help="of the scan on the bed")
    asked = parser.parse_args()
    first, past = map(int, asked.seeds.split(":"))
    kinds = asked.rows.split(",")
    cv2.setNumThreads(2)
    for pictures in picture_sets(asked.folders):
        if asked.set in {"both", pictures.name} or asked.folders:
            print(
                f"\n{pictures.name}: {len(pictures.works)} pictures, {len(pictures.textures)} textures,"
                f" seeds {asked.seeds}"
            )
            for row in seam_rows(pictures, range(first, past), kinds, asked.keep, asked.place == "known"):
                print(row.line(), *(f"    {miss}" for miss in row.misses), sep="\n", flush=True)
    if "named" in kinds:
        print("\nnamed sound cases")
        for row in named_rows(range(first, past)):
            print(row.line(), *(f"    {miss}" for miss in row.misses), sep="\n", flush=True)


if __name__ == "__main__":
    main()
