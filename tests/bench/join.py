"""Joins measured on invented scans: `python tests/bench/join.py PICTURES [--textures DIR] [--seeds 1,2] [--only CASE]`.

Every picture of the folder gets relief with the grain of a texture, is cut into parts whose places are known, scanned
with noise and gain, and joined. The joined pixels are judged, not the plan: they are compared with the scene drawn
afresh in the frame of the reference part, one similarity is taken off, and the largest displacement left in any patch
counts. Nothing here shares code with the product's own registration or resampling.

The split. Tuned on: `TUNED_ON` with relief grown from textures, any seed below 1000; limits and methods were chosen by
looking at those. Unseen: other pictures, invented surfaces (`join_surfaces.INVENTED`), seeds from 1000 on. A seed from
1000 on is spent by the first change made after it was looked at. The table keeps the two apart.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy.stats import beta
from skimage import data

sys.path[:0] = [str(Path(__file__).parents[2] / "daemon"), str(Path(__file__).parents[1])]

from bench.join_judge import Result, judge  # noqa: E402
from bench.join_scene import ArraySource, Laid, Scene, laid, scan  # noqa: E402
from bench.join_surfaces import INVENTED, Surface, canvas, like, read_scene  # noqa: E402

from dawnproof.assemble.join import plan_join, render  # noqa: E402
from dawnproof.assemble.parts import JoinPart, JoinPlan  # noqa: E402
from dawnproof.errors import JoinRefused  # noqa: E402

PPI = 300.0
FIRST_UNSEEN_SEED = 1000
TUNED_ON = {
    "Kleiber_by_Lukas_Baubkus", "Picture_0B_by_freespace", "analogpattern_by_Peter_Nerlich",
    "life_by_Aitzol_Berasategi", "painting_starry_night_van_gogh", "painting_the_scream_munch",
    "seeding_by_Clements_Engelhardt", "weld_16bit", "astronaut", "chelsea", "coffee", "hubble_deep_field", "ihc",
    "retina", "rocket", "2004default", "Bridge_by_Sander_Klootwijk", "Elephants_5640x3172", "Garden",
    "Wine_by_Jakkub_Mede", "aitzgorri_by_Aitzol_Berasategi", "greentock_by_Peter_Nerlich", "the-mouse", "coins",
    "camera", "moon",
}  # fmt: skip


@dataclass(frozen=True)
class Cutting:
    """How a scene is cut: rows and columns of parts, overlap as a share of a part, largest turn, bend."""

    rows: int
    columns: int
    overlap: tuple[float, float]
    turn_deg: float
    bend_px: float = 0.0


def cut_scene(scene: Scene, cutting: Cutting, random: np.random.Generator) -> list[Laid]:
    """Parts of one size in rows and columns that fit the scene; the first is the straightest."""
    high, wide = scene.pigment.shape[:2]
    share = random.uniform(*cutting.overlap)
    spare = 40 if cutting.turn_deg else 12
    size = []
    for length, count in ((high, cutting.rows), (wide, cutting.columns)):
        size.append(int((length - 2 * spare) / (count - (count - 1) * share)))
    parts = []
    for r in range(cutting.rows):
        for c in range(cutting.columns):
            x = spare + size[1] / 2 + c * size[1] * (1 - share) + random.uniform(-1, 1)
            y = spare + size[0] / 2 + r * size[0] * (1 - share) + random.uniform(-1, 1)
            turn = 0.0 if cutting.rows * cutting.columns == 2 and c + r == 0 else cutting.turn_deg
            parts.append(laid((x, y), (size[0], size[1]), random.uniform(-turn, turn)))
    return parts


def label(cutting: Cutting, index: int) -> str:
    if cutting.rows * cutting.columns == 2:
        return ("L", "R")[index] if cutting.columns == 2 else ("T", "B")[index]
    return f"r{index // cutting.columns + 1}c{index % cutting.columns + 1}"


def joined_case(
    name: str, cutting: Cutting, scene: Scene, picture: str, random: np.random.Generator, marks: bool = False
) -> Result:
    """Cut, scanned, joined, judged; `marks` with those of the bed."""
    result = Result(name, picture)
    lit = scene.lit()
    parts = cut_scene(scene, cutting, random)
    noise = float(random.uniform(0.0005, 0.005))
    gains = [1.0] + [float(random.uniform(0.9, 1.1)) for _ in parts[1:]]
    bends = [0.0] + [cutting.bend_px] * (len(parts) - 1)
    scans = [scan(lit, p, random, noise, gain, bend) for p, gain, bend in zip(parts, gains, bends, strict=True)]
    unmarked = scans
    if marks:
        bed = int(random.integers(1 << 30))
        scans = [marked(pixels, np.random.default_rng(bed)) for pixels in scans]
    given = [JoinPart(f"p{i}", label(cutting, i), ArraySource(pixels), PPI) for i, pixels in enumerate(scans)]
    clean = [JoinPart(f"p{i}", "", ArraySource(pixels), PPI) for i, pixels in enumerate(unmarked)]
    attempt(
        result,
        given,
        clean,
        lambda plan, joined: judge(
            result, parts, lit, plan, joined, noise, gains[int(plan.reference[1:])], cutting.bend_px > 0
        ),
    )
    result.facts = [f"noise {noise:.4f}"]
    return result


def attempt(
    result: Result, given: list[JoinPart], drawn_from: list[JoinPart], judged: Callable[[JoinPlan, Any], None]
) -> None:
    """Planned from what is `given`; the pixels judged are those of `drawn_from`, the same scans without bed marks."""
    started = time.perf_counter()
    try:
        plan = plan_join(given)
    except JoinRefused as refused:
        result.refused, result.detail = refused.code, refused.reason
        result.seconds = time.perf_counter() - started
        return
    joined = np.concatenate(list(render(plan, drawn_from)))
    result.seconds = time.perf_counter() - started
    judged(plan, joined)


def refused_case(name: str, scenes: list[Scene], picture: str, random: np.random.Generator) -> Result:
    """Parts that must not be joined."""
    result = Result(name, picture)
    noise = float(random.uniform(0.0005, 0.005))
    scene = scenes[0]
    share = {"narrow": 0.03, "apart": -0.05}.get(name, float(random.uniform(0.08, 0.2)))
    cutting = Cutting(1, 2, (share, share), 1.0)
    if name == "weave":
        scene = woven(scene, random)
    first, second = cut_scene(scene, cutting, random)
    if name == "scaled":
        grown_by = 1 + float(random.choice([-1, 1])) * float(random.uniform(0.013, 0.025))
        second = Laid(second.matrix * np.array([[grown_by, grown_by, 1.0]]), second.rows, second.columns)
    pixels = [scan(scene.lit(), first, random, noise), scan(scene.lit(), second, random, noise)]
    if name == "unrelated":
        other = cut_scene(scenes[1], cutting, random)[1]
        pixels[1] = scan(scenes[1].lit(), other, random, noise)
    if name == "turned":
        quarters = int(random.choice([1, 2, 3]))
        pixels[1] = np.rot90(scan(scene.lit(quarters), second, random, noise), -quarters).copy()
        result.facts.append(f"{90 * quarters} degrees")
    given = [JoinPart(f"p{i}", "LR"[i], ArraySource(p), PPI) for i, p in enumerate(pixels)]

    def joined_after_all(plan: JoinPlan, joined: Any) -> None:
        result.detail = "JOINED " + str([n.code for n in plan.notes])

    attempt(result, given, given, joined_after_all)
    return result


def cloth_case(scene: Scene, picture: str, random: np.random.Generator) -> Result:
    """Bare cloth of uneven threads: joined where it belongs or refused, nothing else."""
    height = canvas(scene.height.shape[:2], random, float(random.uniform(0.0, 1.5)))
    slope = np.gradient(height)[0]
    bare = Scene(np.full_like(scene.pigment, 0.75), height, 0.05 / float(slope.std()))
    return joined_case("cloth", Cutting(1, 2, (0.08, 0.2), 1.0), bare, picture, random)


def marked(pixels: npt.NDArray[Any], random: np.random.Generator) -> npt.NDArray[Any]:
    """Dust, scratches and streaks of the bed and a lid's grain along two sides, all stronger than any texture."""
    rows, columns = pixels.shape[:2]
    out = pixels.astype(np.float32)
    for y, x in random.integers(0, (rows, columns), (250, 2)):
        size = int(random.integers(2, 7))
        out[y : y + size, x : x + size] *= float(random.choice([0.2, 1.6]))
    for x in random.integers(0, columns, 12):
        out[:, x : x + 2] += 6000 * float(random.choice([-1, 1]))
    lid = 30000 + 9000 * random.standard_normal((rows, columns, 1))
    out[:26], out[:, :26] = lid[:26], lid[:, :26]
    return np.asarray(np.clip(out, 0, 65535), dtype=np.uint16)


def woven(scene: Scene, random: np.random.Generator) -> Scene:
    """A blank cloth whose threads repeat exactly, somewhere between 9 and 60 px."""
    period = float(random.uniform(9, 60))
    y, x = np.mgrid[0 : scene.height.shape[0], 0 : scene.height.shape[1]] * (2 * np.pi / period)
    height = np.sin(x) * np.cos(y) + 0.4 * np.sin(2 * x + 0.7) * np.sin(y) + 0.3 * np.sin(x + 2 * y)
    slope = np.gradient(height)[0]
    return Scene(np.full_like(scene.pigment, 0.75), height.astype(np.float32), 0.05 / float(slope.std()))


CUTTINGS = {
    "rigid": [Cutting(1, 2, (0.08, 0.2), 3.0), Cutting(2, 1, (0.08, 0.2), 3.0)],
    "shift": [Cutting(1, 2, (0.08, 0.2), 0.0), Cutting(2, 1, (0.08, 0.2), 0.0)],
    "grid2": [Cutting(2, 2, (0.1, 0.2), 1.5)],
    "grid3": [Cutting(3, 3, (0.12, 0.2), 1.5)],
    "warp": [Cutting(1, 2, (0.12, 0.2), 1.0, 6.0), Cutting(2, 1, (0.12, 0.2), 1.0, 6.0)],
    "thin": [Cutting(1, 2, (0.053, 0.08), 1.0), Cutting(2, 2, (0.053, 0.07), 0.5), Cutting(1, 3, (0.053, 0.07), 0.5)],
    "marks": [Cutting(1, 2, (0.1, 0.2), 1.0), Cutting(2, 1, (0.1, 0.2), 1.0)],
}
RIGHT = {
    "unrelated": ("unrelated",),
    "apart": ("unrelated", "overlap"),
    "turned": ("turned",),
    "weave": ("ambiguous",),
    "narrow": ("overlap",),
    "scaled": ("scale",),
}


def cases(pictures: list[Path], surfaces: list[Surface], seeds: list[int], only: list[str]) -> Iterator[Result]:
    for seed in seeds:
        for index, path in enumerate(pictures):
            for kind in only:
                random = np.random.default_rng([seed, index, sum(map(ord, kind))])
                scene = read_scene(path, surfaces[(index + seed) % len(surfaces)], random)
                if kind in RIGHT:
                    other = read_scene(pictures[(index + 1) % len(pictures)], surfaces[index % len(surfaces)], random)
                    result = refused_case(kind, [scene, other], path.name, random)
                elif kind == "cloth":
                    result = cloth_case(scene, path.name, random)
                else:
                    choices = CUTTINGS[kind]
                    cutting = choices[(seed + index) % len(choices)]
                    result = joined_case(kind, cutting, scene, path.name, random, kind == "marks")
                result.unseen = seed >= FIRST_UNSEEN_SEED and path.stem not in TUNED_ON
                yield result


def interval(hits: int, count: int) -> str:
    """Share with its exact 95 % interval (Clopper and Pearson 1934)."""
    low = 0.0 if hits == 0 else float(beta.ppf(0.025, hits, count - hits + 1))
    high = 1.0 if hits == count else float(beta.ppf(0.975, hits + 1, count - hits))
    return f"{hits}/{count} ({low:.0%}-{high:.0%})"


def table(results: list[Result]) -> None:
    for unseen in (False, True):
        of = [r for r in results if r.unseen is unseen]
        for kind in dict.fromkeys(r.case for r in of):
            print(f"{'unseen  ' if unseen else 'tuned on'} ", end="")
            _row(kind, [r for r in of if r.case == kind])


def _row(kind: str, rows: list[Result]) -> None:
    if kind in RIGHT:
        never = sum(bool(r.refused) for r in rows)
        right = sum(r.refused in RIGHT[kind] for r in rows)
        print(f"{kind:10} not joined {interval(never, len(rows))}  right reason {interval(right, len(rows))}")
        return
    judged = [r for r in rows if not r.refused and np.isfinite(r.largest_px)]
    refused = sum(bool(r.refused) for r in rows)
    print(f"{kind:10} refused {interval(refused, len(rows))}  judged {len(judged)}")
    if not judged:
        return
    for limit in (0.15, 0.5):
        print(f"  largest <= {limit} px {interval(sum(r.largest_px <= limit for r in judged), len(judged))}")
    print(f"  root mean square <= 0.5 px {interval(sum(r.typical_px <= 0.5 for r in judged), len(judged))}")
    for name in ("largest_px", "typical_px", "closure_px", "delta_e_more", "relief_ratio", "seconds"):
        values = [getattr(r, name) for r in judged]
        print(f"  {name:13} median {np.median(values):.3f}  least {min(values):.3f}  most {max(values):.3f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pictures", type=Path, nargs="+", help="pictures, or folders of them")
    parser.add_argument("--textures", type=Path, help="folder of grey textures; else those of scikit-image")
    parser.add_argument("--seeds", default="1")
    parser.add_argument("--only", default=",".join((*CUTTINGS, "cloth", *RIGHT)))
    parser.add_argument("--invented", action="store_true", help="invented surfaces instead of textures")
    chosen = parser.parse_args()
    cv2.setNumThreads(2)
    files = [f for p in chosen.pictures for f in (sorted(p.iterdir()) if p.is_dir() else [p])]
    files = [f for f in files if f.suffix.lower() in {".png", ".jpg", ".jpeg", ".tif", ".tiff"}]
    grains = (
        [cv2.imread(str(f), cv2.IMREAD_GRAYSCALE) for f in sorted(chosen.textures.iterdir())]
        if chosen.textures
        else [data.gravel(), data.grass(), data.brick()]
    )
    surfaces = [like(np.asarray(g, dtype=np.float32) / np.float32(255)) for g in grains if g is not None]
    results = []
    seeds = [int(s) for s in chosen.seeds.split(",")]
    for result in cases(files, list(INVENTED) if chosen.invented else surfaces, seeds, chosen.only.split(",")):
        results.append(result)
        print(
            f"{result.case:10} {result.picture[:24]:24} {result.refused or 'joined':10} {result.largest_px:6.3f} px"
            f"  {result.seconds:5.1f} s  {' '.join(result.facts)}  {result.detail[:110]}",
            flush=True,
        )
    print()
    table(results)


if __name__ == "__main__":
    main()
