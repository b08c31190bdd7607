"""Joined pixels against the scene they were cut from: positions, colours, relief. The judge shares no code with the
product: it draws the truth with quintic splines and finds displacements by its own least squares."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from bench.join_scene import Floats, Laid
from scipy import ndimage
from skimage import color

from dawnproof.assemble.parts import JoinPlan

PATCH, STEP = 64, 48


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
    unseen: bool = False


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
    for top in range(0, inside.shape[0] - PATCH, STEP):
        for left in range(0, inside.shape[1] - PATCH, STEP):
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
        if len(places) == 0:
            result.detail = "too little texture to judge"
            return
        left = np.linalg.norm(moved, axis=1)
    else:
        left = np.linalg.norm(without_similarity(places, moved), axis=1)
    worst = int(left.argmax())
    result.largest_px, result.typical_px = float(left.max()), float(np.sqrt((left**2).mean()))
    result.detail = f"worst at {places[worst].astype(int).tolist()} of {len(left)} patches"
    result.closure_px = max((o.closure_px for o in plan.overlaps), default=0.0)
    thin = (slice(None, None, 2), slice(None, None, 2))
    shown = (values[thin] / gain ** (1 / 2.2), truth[thin])
    apart = color.deltaE_ciede2000(*(color.rgb2lab(np.clip(v, 0, 1)) for v in shown))
    result.delta_e_more = float(apart[many[thin] > 1].mean() - apart[many[thin] == 1].mean())
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
