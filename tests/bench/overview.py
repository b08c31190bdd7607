"""Overviews against joins, right and wrong: `python tests/bench/overview.py PICTURES [--seeds 1,2]`.

Every picture of the folder stands for a work of 533 mm, cut into 2, 3 and 4 parts whose places are known. It is seen on
an overview: `reduced` (a scan at a half or a third, softer, in another tone), `photo` (a camera 1.2 to 2.5 long sides
away, slanted by up to 10 degrees about both axes, turned, 2 % radial, uneven light, noise), `hard` (22 degrees, 6 %).
The join is right, or one part is moved by 0.8, 3 or 10 % of the long side, or two parts are exchanged; `foreign` is
the photograph of another picture of the folder. Prints how often each was called sound, undecided or a fault.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

sys.path[:0] = [str(Path(__file__).parents[2] / "daemon"), str(Path(__file__).parents[1])]

from bench.join_scene import ArraySource  # noqa: E402

from dawnproof.assemble.geometry import compare  # noqa: E402
from dawnproof.assemble.parts import JoinPart  # noqa: E402
from dawnproof.assemble.view import View  # noqa: E402

Picture = npt.NDArray[np.float32]
LONG_SIDE, PPI = 1250, 60.0
GRIDS = ((1, 2), (1, 3), (2, 2))
SLANTS = {"photo": (10.0, 0.02), "hard": (22.0, 0.06)}
MOVED = (0.008, 0.03, 0.1)


def load(path: Path) -> Picture:
    read = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if read is None:
        raise SystemExit(f"{path}: not a picture")
    scale = LONG_SIDE / max(read.shape[:2])
    method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(read, None, fx=scale, fy=scale, interpolation=method)[:, :, ::-1] / 255, np.float32)


def source(values: npt.NDArray[np.floating]) -> ArraySource:
    return ArraySource(np.rint(np.clip(values, 0, 1) * 65535).astype(np.uint16))


def reduced(scene: Picture, random: np.random.Generator) -> ArraySource:
    factor = int(random.integers(2, 4))
    size = (scene.shape[1] // factor, scene.shape[0] // factor)
    small = cv2.GaussianBlur(cv2.resize(scene, size, interpolation=cv2.INTER_AREA), (0, 0), random.uniform(0.3, 1))
    return source(small ** random.uniform(0.8, 1.25) + random.normal(0, 0.006, small.shape))


def photographed(scene: Picture, random: np.random.Generator, tilt_deg: float, lens: float) -> ArraySource:
    """Through a pinhole and one radial term, on a grey wall."""
    height, width = scene.shape[:2]
    long, scale, away = max(height, width), random.uniform(0.35, 0.8), random.uniform(1.2, 2.5)
    tilts = np.deg2rad(random.uniform(-tilt_deg, tilt_deg, 2))
    about = np.deg2rad(random.uniform(-3, 3)) + random.integers(0, 4) * np.pi / 2
    turn = np.eye(3)
    for axis in ([tilts[0], 0, 0], [0, tilts[1], 0], [0, 0, about]):
        turn = turn @ cv2.Rodrigues(np.array(axis, dtype=np.float64))[0]
    plane = np.array([[turn[0, 0], turn[0, 1], 0], [turn[1, 0], turn[1, 1], 0], [0, 0, 1.0]])
    plane[2, :2] = turn[2, :2] / away
    side = int(long * scale * 1.25)
    v, u = (np.mgrid[0:side, 0:side] - (side - 1) / 2) / (long * scale)
    square = u * u + v * v
    bent = 1 + random.uniform(-lens, lens) * square / 0.25
    at = np.stack([u / bent, v / bent, np.ones_like(u)], axis=2) @ np.linalg.inv(plane).T
    across = at[:, :, 0] / at[:, :, 2] * long + (width - 1) / 2
    along = at[:, :, 1] / at[:, :, 2] * long + (height - 1) / 2
    soft = cv2.GaussianBlur(scene, (0, 0), 0.45 / scale)
    seen = cv2.remap(soft, across.astype(np.float32), along.astype(np.float32), cv2.INTER_LINEAR,
                     borderValue=(0.35, 0.37, 0.4, 0.4))  # fmt: skip
    lit = np.clip(seen * (1 - random.uniform(0, 0.6) * square[:, :, None]), 0, 1) ** random.uniform(0.7, 1.4)
    return source(lit + random.normal(0, 0.01, lit.shape))


def parts_of(
    scene: Picture, grid: tuple[int, int], random: np.random.Generator
) -> tuple[list[View], list[npt.NDArray[np.float64]]]:
    """Parts and their true places; neighbours share 10 to 20 %."""
    height, width = scene.shape[:2]
    overlap = random.uniform(0.1, 0.2) / 2
    views: list[View] = []
    places = []
    for row in range(grid[0]):
        for column in range(grid[1]):
            x0, x1 = (int(np.clip((column + i) / grid[1] + s * overlap, 0, 1) * width) for i, s in ((0, -1), (1, 1)))
            y0, y1 = (int(np.clip((row + i) / grid[0] + s * overlap, 0, 1) * height) for i, s in ((0, -1), (1, 1)))
            cut = scene[y0:y1, x0:x1]
            noisy = source(cut + random.normal(0, 0.003, cut.shape))
            views.append(View(JoinPart(f"part {len(views) + 1}", "", noisy, PPI)))
            places.append(np.array([[1.0, 0, x0], [0, 1.0, y0]]))
    return views, places


def moved(
    places: list[npt.NDArray[np.float64]], by: float, random: np.random.Generator
) -> list[npt.NDArray[np.float64]]:
    found = [place.copy() for place in places]
    way = random.uniform(0, 2 * np.pi)
    found[int(random.integers(len(found)))][:, 2] += by * LONG_SIDE * np.array([np.cos(way), np.sin(way)])
    return found


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("pictures", type=Path)
    asked.add_argument("--seeds", default="1")
    given = asked.parse_args()
    scenes = [
        load(p) for p in sorted(given.pictures.iterdir()) if p.suffix.lower() in {".jpg", ".jpeg", ".png", ".tif"}
    ]
    seeds = [int(s) for s in given.seeds.split(",")]
    tally: Counter[tuple[str, str, str]] = Counter()
    for number, scene in enumerate(scenes):
        size = (scene.shape[1], scene.shape[0])
        for seed, grid in ((s, g) for s in seeds for g in GRIDS):
            random = np.random.default_rng([seed, number, *grid])
            views, places = parts_of(scene, grid, random)
            seen = {"reduced": reduced(scene, random)}
            seen |= {kind: photographed(scene, random, *slant) for kind, slant in SLANTS.items()}
            joins = {"right": places, "exchanged": [places[-1], *places[1:-1], places[0]]}
            joins |= {f"moved {by:.1%}": moved(places, by, random) for by in MOVED}
            for kind, image in seen.items():
                for name, join in joins.items():
                    overview = JoinPart("overview", "overview", image, PPI / 2)
                    tally[kind, name, compare(overview, views, join, size, PPI).level.value] += 1
            for other in (s for i, s in enumerate(scenes) if i != number):
                foreign = JoinPart("overview", "overview", photographed(other, random, 10.0, 0.02), PPI / 2)
                tally["photo", "foreign", compare(foreign, views, places, size, PPI).level.value] += 1
    for (kind, name, level), count in sorted(tally.items()):
        print(f"{kind:8} {name:12} {level:10} {count}")


if __name__ == "__main__":
    main()
