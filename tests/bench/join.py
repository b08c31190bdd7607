"""Joins measured on invented scans: `python tests/bench/join.py PICTURES [--textures DIR] [--seeds 1,2] [--only CASE]`.

Every picture of the folder gets relief with the grain of a texture, is cut into parts whose places are known, scanned
with noise and gain, and joined. The joined pixels are judged, not the plan: they are compared with the scene drawn
afresh in the frame of the reference part, one similarity is taken off, and the largest displacement left in any patch
counts. Nothing here shares code with the product's own registration or resampling.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scipy import ndimage
from scipy.stats import beta
from skimage import color, data

sys.path[:0] = [str(Path(__file__).parents[2] / "daemon"), str(Path(__file__).parents[1])]

from bench.join_scene import ArraySource, Floats, Laid, Scene, laid, scan  # noqa: E402

from dawnproof.assemble.join import plan_join, render  # noqa: E402
from dawnproof.assemble.parts import JoinPart, JoinPlan  # noqa: E402
from dawnproof.errors import JoinRefused  # noqa: E402

SCENE_ROWS, SCENE_COLUMNS = 950, 1250
PATCH = 64
PPI = 300.0


@dataclass
class Result:
    """What came of one case; px figures are of the joined pixels."""

    case: str
    picture: str
    refused: str = ""
    largest_px: float = np.nan
    typical_px: float = np.nan
    closure_px: float = 0.0
    delta_e_more: float = np.nan
    relief_ratio: float = np.nan
    seconds: float = 0.0
    detail: str = ""
    facts: list[str] = field(default_factory=list)


def read_scene(path: Path, texture: npt.NDArray[np.float32], random: np.random.Generator) -> Scene:
    """The sharpest reduction of a picture that still fills the scene, with relief grown from the texture."""
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH)
    if picture is None:
        raise SystemExit(f"{path}: not a picture")
    full: npt.NDArray[np.float32] = picture[:, :, ::-1].astype(np.float32) / np.float32(
        65535 if picture.dtype == np.uint16 else 255
    )
    scale = max(SCENE_ROWS / full.shape[0], SCENE_COLUMNS / full.shape[1])
    factor = float(np.clip(scale, 0.4, 2.5))  # small pictures are drawn larger: soft pigment on sharp relief
    kernel = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    full = np.asarray(cv2.resize(full, None, fx=factor, fy=factor, interpolation=kernel), np.float32).clip(0, 1)
    rows, columns = min(SCENE_ROWS, full.shape[0]), min(SCENE_COLUMNS, full.shape[1])
    top, left = random.integers(0, full.shape[0] - rows + 1), random.integers(0, full.shape[1] - columns + 1)
    pigment = np.float32(0.04) + np.float32(0.86) * full[top : top + rows, left : left + columns]
    height = grown(texture, (rows, columns), random)
    slope = np.gradient(height)[0]
    return Scene(pigment, height, float(random.uniform(0.02, 0.06) / slope.std()))


def grown(texture: npt.NDArray[np.float32], shape: tuple[int, int], random: np.random.Generator) -> Any:
    """A surface with the texture's power spectrum that never repeats (Gaussian random field)."""
    grain = texture - texture.mean()
    spectrum = np.abs(np.fft.fft2(grain * np.outer(np.hanning(grain.shape[0]), np.hanning(grain.shape[1])))) ** 2
    lags = np.fft.fftshift(np.fft.ifft2(spectrum).real)
    rows, columns = (max(n, m) for n, m in zip(shape, lags.shape, strict=True))
    padded = np.zeros((rows, columns))
    padded[: lags.shape[0], : lags.shape[1]] = lags * np.outer(*(np.hanning(n) for n in lags.shape))
    amplitude = np.sqrt(np.abs(np.fft.fft2(padded)))
    surface = np.fft.ifft2(amplitude * np.fft.fft2(random.standard_normal((rows, columns)))).real
    surface = ndimage.gaussian_filter(surface, 0.8)[: shape[0], : shape[1]]
    return np.asarray(surface / surface.std(), dtype=np.float32)


def drawn(lit: npt.NDArray[np.float32], reference: Laid, plan: JoinPlan) -> npt.NDArray[np.float32]:
    """The scene as the reference part would have shown it over the whole joined image, without noise."""
    place = next(p for p in plan.parts if p.name == plan.reference)
    shift = place.matrix[:, 2]
    linear = reference.matrix[:, :2]
    matrix = np.column_stack([linear, reference.matrix[:, 2] - linear @ shift])
    frame = Laid(matrix, plan.height, plan.width)
    y, x = np.mgrid[0 : frame.rows, 0 : frame.columns].astype(np.float64)
    at = [matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2], matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]]
    planes = [ndimage.map_coordinates(lit[:, :, c], at, order=5, mode="mirror") for c in range(3)]
    return np.stack(planes, axis=2).astype(np.float32)


def covered(parts: list[Laid], reference: Laid, plan: JoinPlan, rim: float) -> npt.NDArray[np.int32]:
    """How many parts, each without its rim, lie at every joined pixel, by the known places."""
    shift = next(p for p in plan.parts if p.name == plan.reference).matrix[:, 2]
    y, x = np.mgrid[0 : plan.height, 0 : plan.width].astype(np.float64)
    m = reference.matrix
    scene_x = m[0, 0] * (x - shift[0]) + m[0, 1] * (y - shift[1]) + m[0, 2]
    scene_y = m[1, 0] * (x - shift[0]) + m[1, 1] * (y - shift[1]) + m[1, 2]
    count = np.zeros(x.shape, np.int32)
    for part in parts:
        back = np.linalg.inv(part.matrix[:, :2])
        dx, dy = scene_x - part.matrix[0, 2], scene_y - part.matrix[1, 2]
        px, py = back[0, 0] * dx + back[0, 1] * dy, back[1, 0] * dx + back[1, 1] * dy
        count += (px >= rim) & (py >= rim) & (px <= part.columns - 1 - rim) & (py <= part.rows - 1 - rim)
    return count


def displacements(joined: Any, truth: Any, inside: npt.NDArray[np.bool_], noise: float) -> tuple[Floats, Floats]:
    """(n, 2) patch middles and (n, 2) px by which the joined pixels lie off the truth; patches whose own precision is
    worse than 0.02 px are left out."""
    grey_j = ndimage.gaussian_filter(joined.mean(axis=2).astype(np.float64), 1.0)
    grey_t = ndimage.gaussian_filter(truth.mean(axis=2).astype(np.float64), 1.0)
    places, moved = [], []
    for top in range(0, inside.shape[0] - PATCH, PATCH // 2):
        for left in range(0, inside.shape[1] - PATCH, PATCH // 2):
            window = (slice(top, top + PATCH), slice(left, left + PATCH))
            if not inside[window].all():
                continue
            found = _moved(grey_t[window], grey_j[window], noise)
            if found is not None:
                places.append((left + PATCH / 2, top + PATCH / 2))
                moved.append(found)
    return np.array(places).reshape(-1, 2), np.array(moved).reshape(-1, 2)


def _moved(truth: Floats, joined: Floats, noise: float) -> tuple[float, float] | None:
    """Gauss-Newton with gain and offset on the inner part of a patch; the truth is moved by quintic splines."""
    spline = ndimage.spline_filter(truth, order=5)
    inner = slice(6, -6)
    dx = dy = 0.0
    for _ in range(6):
        at = ndimage.shift(spline, (dy, dx), order=5, prefilter=False, mode="mirror")
        gy, gx = np.gradient(at)
        sides = (gx[inner, inner], gy[inner, inner], at[inner, inner], np.ones_like(at)[inner, inner])
        design = np.stack([s.ravel() for s in sides], axis=1)
        normal = design.T @ design
        try:
            step = np.linalg.solve(normal, design.T @ joined[inner, inner].ravel())
        except np.linalg.LinAlgError:
            return None
        dx, dy = dx - step[0], dy - step[1]
        if max(abs(dx), abs(dy)) > 8:
            return None
        if max(abs(step[0]), abs(step[1])) < 1e-3:
            break
    # noise of the mean of three channels after smoothing by 1 px, its neighbours alike: 0.28 of it, 4 in one
    precision = np.sqrt(np.diag(np.linalg.inv(normal + 1e-12 * np.eye(4)))[:2].max()) * 2 * 0.28 * noise / np.sqrt(3)
    return (dx, dy) if precision < 0.02 else None


def without_similarity(places: Floats, moved: Floats) -> Floats:
    """Displacements after the one similarity that explains most of them (least squares) is taken off."""
    p = places - places.mean(axis=0)
    one, nought = np.ones(len(p)), np.zeros(len(p))
    design = np.concatenate(
        [np.stack([p[:, 0], -p[:, 1], one, nought], axis=1), np.stack([p[:, 1], p[:, 0], nought, one], axis=1)]
    )
    solution = np.linalg.lstsq(design, np.concatenate([moved[:, 0], moved[:, 1]]), rcond=None)[0]
    left = np.concatenate([moved[:, 0], moved[:, 1]]) - design @ solution
    return np.asarray(left.reshape(2, -1).T)


def judge(
    result: Result, parts: list[Laid], lit: Any, plan: JoinPlan, joined: Any, noise: float, gain: float, bent: bool
) -> None:
    """Fills in the figures of a join that was made."""
    reference = parts[int(plan.reference[1:])]
    truth = drawn(lit, reference, plan)
    many = covered(parts, reference, plan, 6.0)
    values = joined.astype(np.float32) / 65535
    places, moved = displacements(values, truth, many > 0, noise)
    if len(places) < 8:
        result.detail = "too little texture to judge"
        return
    if bent:  # where only the bent part is seen nothing says how it should lie: judged where both are
        both = np.array([(many[int(y) - 8 : int(y) + 8, int(x) - 8 : int(x) + 8] > 1).all() for x, y in places])
        places, moved = places[both], moved[both]
        left = np.linalg.norm(moved, axis=1)
    else:
        left = np.linalg.norm(without_similarity(places, moved), axis=1)
    worst = int(left.argmax())
    result.largest_px, result.typical_px = float(left.max()), float(np.sqrt((left**2).mean()))
    result.detail = f"worst at {places[worst].astype(int).tolist()} of {len(left)} patches"
    result.closure_px = max((o.closure_px for o in plan.overlaps), default=0.0)
    lab_j, lab_t = (color.rgb2lab(np.clip(v / gain ** (1 / 2.2), 0, 1)) for v in (values, truth * gain ** (1 / 2.2)))
    apart = color.deltaE_ciede2000(lab_j, lab_t)
    result.delta_e_more = float(apart[many > 1].mean() - apart[many == 1].mean())
    result.relief_ratio = relief_at_cuts(values, truth, plan, many, noise)


def relief_at_cuts(values: Any, truth: Any, plan: JoinPlan, many: Any, noise: float) -> float:
    """Fine contrast within 32 px of the cuts against that of a single scan of the same place (truth and noise)."""
    near = np.zeros(many.shape, np.uint8)
    for cut in plan.cuts:
        line = np.array(cut.polyline(500), np.float32).round().astype(np.int32)
        cv2.polylines(near, [line.reshape(-1, 1, 2)], False, 255, 3)
    near = cv2.dilate(near, np.ones((33, 33), np.uint8)) > 0
    single = truth + noise * np.random.default_rng(0).standard_normal(truth.shape)
    bands = [_fine(v.mean(axis=2)) for v in (values, single)]
    chosen = near & (many > 1)
    return float(bands[0][chosen].std() / bands[1][chosen].std())


def _fine(grey: Any) -> Any:
    return ndimage.gaussian_filter(grey, 0.8) - ndimage.gaussian_filter(grey, 3.0)


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


def joined_case(name: str, cutting: Cutting, scene: Scene, picture: str, random: np.random.Generator) -> Result:
    """Cut, scanned, joined, judged."""
    result = Result(name, picture)
    lit = scene.lit()
    parts = cut_scene(scene, cutting, random)
    noise = float(random.uniform(0.0005, 0.005))
    gains = [1.0] + [float(random.uniform(0.9, 1.1)) for _ in parts[1:]]
    bends = [0.0] + [cutting.bend_px] * (len(parts) - 1)
    scans = [scan(lit, p, random, noise, gain, bend) for p, gain, bend in zip(parts, gains, bends, strict=True)]
    given = [JoinPart(f"p{i}", label(cutting, i), ArraySource(pixels), PPI) for i, pixels in enumerate(scans)]
    attempt(
        result,
        given,
        lambda plan, joined: judge(
            result, parts, lit, plan, joined, noise, gains[int(plan.reference[1:])], cutting.bend_px > 0
        ),
    )
    result.facts = [f"noise {noise:.4f}"]
    return result


def attempt(result: Result, given: list[JoinPart], judged: Callable[[JoinPlan, Any], None]) -> None:
    started = time.perf_counter()
    try:
        plan = plan_join(given)
    except JoinRefused as refused:
        result.refused, result.detail = refused.code, refused.reason
        result.seconds = time.perf_counter() - started
        return
    joined = np.concatenate(list(render(plan, given)))
    result.seconds = time.perf_counter() - started
    judged(plan, joined)


def refused_case(name: str, scenes: list[Scene], picture: str, random: np.random.Generator) -> Result:
    """Parts that must not be joined."""
    result = Result(name, picture)
    noise = float(random.uniform(0.0005, 0.005))
    scene = scenes[0]
    narrow = {"narrow": 0.03}.get(name, float(random.uniform(0.08, 0.2)))
    cutting = Cutting(1, 2, (narrow, narrow), 1.0)
    if name == "weave":
        scene = woven(scene, random)
    first, second = cut_scene(scene, cutting, random)
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
        result.detail = str([n.code for n in plan.notes])

    attempt(result, given, joined_after_all)
    return result


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
    "warp": [Cutting(1, 2, (0.12, 0.2), 1.0, 6.0)],
}
REFUSED = ("unrelated", "turned", "weave", "narrow")
RIGHT = {"unrelated": "unrelated", "turned": "turned", "weave": "ambiguous", "narrow": "overlap"}


def cases(pictures: list[Path], textures: list[Any], seeds: list[int], only: list[str]) -> Iterator[Result]:
    for seed in seeds:
        for index, path in enumerate(pictures):
            for kind in only:
                random = np.random.default_rng([seed, index, sum(map(ord, kind))])
                scene = read_scene(path, textures[(index + seed) % len(textures)], random)
                if kind in REFUSED:
                    other = read_scene(pictures[(index + 1) % len(pictures)], textures[index % len(textures)], random)
                    yield refused_case(kind, [scene, other], path.name, random)
                    continue
                choices = CUTTINGS[kind]
                yield joined_case(kind, choices[(seed + index) % len(choices)], scene, path.name, random)


def interval(hits: int, count: int) -> str:
    """Share with its exact 95 % interval (Clopper and Pearson 1934)."""
    low = 0.0 if hits == 0 else float(beta.ppf(0.025, hits, count - hits + 1))
    high = 1.0 if hits == count else float(beta.ppf(0.975, hits + 1, count - hits))
    return f"{hits}/{count} ({low:.0%}-{high:.0%})"


def table(results: list[Result]) -> None:
    for kind in dict.fromkeys(r.case for r in results):
        rows = [r for r in results if r.case == kind]
        if kind in REFUSED:
            never = sum(bool(r.refused) for r in rows)
            right = sum(r.refused == RIGHT[kind] for r in rows)
            print(f"{kind:10} not joined {interval(never, len(rows))}  right reason {interval(right, len(rows))}")
            continue
        made = [r for r in rows if not r.refused]
        judged = [r for r in made if np.isfinite(r.largest_px)]
        fine = sum(r.largest_px <= 0.15 for r in judged)
        good = sum(r.largest_px <= 0.5 for r in judged)
        print(f"{kind:10} refused {interval(len(rows) - len(made), len(rows))}  judged {len(judged)}")
        if not judged:
            continue
        near = sum(r.typical_px <= 0.5 for r in judged)
        print(f"  largest <= 0.15 px {interval(fine, len(judged))}  <= 0.5 px {interval(good, len(judged))}")
        print(f"  root mean square <= 0.5 px {interval(near, len(judged))}")
        for name in ("largest_px", "typical_px", "closure_px", "delta_e_more", "relief_ratio", "seconds"):
            values = [getattr(r, name) for r in judged]
            print(f"  {name:13} median {np.median(values):.3f}  least {min(values):.3f}  most {max(values):.3f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pictures", type=Path, nargs="+", help="pictures, or folders of them")
    parser.add_argument("--textures", type=Path, help="folder of grey textures; else those of scikit-image")
    parser.add_argument("--seeds", default="1")
    parser.add_argument("--only", default=",".join((*CUTTINGS, *REFUSED)))
    chosen = parser.parse_args()
    cv2.setNumThreads(2)
    files = [f for p in chosen.pictures for f in (sorted(p.iterdir()) if p.is_dir() else [p])]
    files = [f for f in files if f.suffix.lower() in {".png", ".jpg", ".jpeg", ".tif", ".tiff"}]
    grains = (
        [cv2.imread(str(f), cv2.IMREAD_GRAYSCALE) for f in sorted(chosen.textures.iterdir())]
        if chosen.textures
        else [data.gravel(), data.grass(), data.brick()]
    )
    textures = [np.asarray(g, dtype=np.float32) / 255 for g in grains if g is not None]
    results = []
    seeds = [int(s) for s in chosen.seeds.split(",")]
    for result in cases(files, textures, seeds, chosen.only.split(",")):
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
