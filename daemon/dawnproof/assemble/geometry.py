"""Whether an overview of the whole work shows the parts where the join put them.

One camera model is fitted to all matches at once: a plane homography (a slanted photograph), one radial term (a lens),
and for every part but one a shift of its own on the joined image, which is 0 where the join is right. Robust least
squares (Triggs et al. 2000, bundle adjustment); slant and lens are held small by what cameras do, so that few matches
cannot be explained away by them. What no camera does remains: a part in another place, a piece missing or doubled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy import optimize

from ..model import MM_PER_INCH, Level
from .parts import Geometry, JoinPart, Matrix
from .sighting import Sighting, sightings
from .view import View, apply

Floats = npt.NDArray[np.float64]
# trial values
LEAST_SHIFT_MM, LEAST_SHIFT_SHARE = 1.5, 0.005  # of the long side: nearer than this an overview is not asked
CERTAIN = 5.0  # standard deviations a contradiction must stand out
EXPLAINED_PX = 6.0  # of an overview 1600 px long: what the camera may leave of the typical match of any part
TURNED_DEG, SIZE_RATIO = 10.0, 1.2  # of a part against the others on the overview: beyond any slant
STRETCH = 1.04  # width to height, where nothing of a slant is seen
SLANT_SEEN = 0.01
MORE_SHARE, LESS_SHARE = 0.08, 0.03  # of a side: what the overview shows beyond the joined work
_SLANT, _LENS = 0.15, 0.04  # typical size of perspective and of the radial term, over half the long side
_ROBUST_PX = 1.5


@dataclass(frozen=True)
class _Seen:
    """The parts on the joined image, (n, 2) px from its middle over half its long side, and on the overview in px of
    a picture about 1600 px long, from its middle."""

    names: tuple[str, ...]
    joined: tuple[Floats, ...]
    pictured: tuple[Floats, ...]
    half_side_mm: float
    half_px: float  # half the overview's long side


def compare(
    overview: JoinPart, views: Sequence[View], matrices: Sequence[Matrix], size: tuple[int, int], ppi: float
) -> Geometry:
    """`matrices` take each view's pixels to the joined image of `size` (width, height) px."""
    name = overview.name
    pictured = View(overview)
    found = sightings(pictured, list(views))
    usable = [i for i, sighting in enumerate(found) if sighting.found]
    if len(usable) < 2:
        return Geometry(
            Level.UNDECIDED,
            f"the overview {name} does not show what the parts show, or too little of it: {len(usable)} of"
            f" {len(views)} parts were found on it; the places of the parts were not checked by it",
        )
    seen = _seen(pictured, [views[i] for i in usable], [matrices[i] for i in usable], [found[i] for i in usable],
                 size, ppi)  # fmt: skip
    camera = _fitted(seen)
    if camera.left_px(seen) > EXPLAINED_PX:
        gross = _out_of_order(seen)
        if gross:
            return Geometry(Level.FAULT, f"the overview {name} contradicts the join: {gross}")
        return Geometry(Level.UNDECIDED, f"the overview {name} shows the parts bent in a way that no camera explains;"
                        " their places were not checked by it")  # fmt: skip
    return _judged(name, seen, camera, len(views), _edges(pictured, views, matrices), size)


def _seen(
    pictured: View,
    views: Sequence[View],
    matrices: Sequence[Matrix],
    found: Sequence[Sighting],
    size: tuple[int, int],
    ppi: float,
) -> _Seen:
    half = max(size) / 2
    middle = (np.array(size, dtype=np.float64) - 1) / 2
    centre, unit = _overview_frame(pictured)
    return _Seen(
        tuple(view.name for view in views),
        tuple((apply(m, s.on_part) - middle) / half for m, s in zip(matrices, found, strict=True)),
        tuple((s.on_overview - centre) / unit for s in found),
        half * MM_PER_INCH / ppi,
        800.0,
    )


def _out_of_order(seen: _Seen) -> str:
    """A part that stands turned, in another size or far from its place, against the part seen best; '' for none."""
    best = int(np.argmax([len(p) for p in seen.joined]))
    turn, ratio, shift = _similarity(seen.joined[best], seen.pictured[best])
    for i, name in enumerate(seen.names):
        if i == best:
            continue
        own_turn, own_ratio, _ = _similarity(seen.joined[i], seen.pictured[i])
        angle = (own_turn - turn + 180) % 360 - 180
        if abs(angle) > TURNED_DEG:
            return f"it shows {name} turned by {angle:.0f} degrees against {seen.names[best]}"
        if not 1 / SIZE_RATIO < own_ratio / ratio < SIZE_RATIO:
            return f"it shows {name} {own_ratio / ratio:.2f} times as large against {seen.names[best]} as it was joined"
        middle = seen.joined[i].mean(axis=0)
        moved = ratio * _turned(turn) @ middle + shift
        away = float(np.linalg.norm(seen.pictured[i].mean(axis=0) - moved)) / ratio
        if away > 0.25:
            mm = away * seen.half_side_mm
            return f"it shows {name} about {mm:.0f} mm from the place where it was joined to {seen.names[best]}"
    return ""


def _turned(angle_deg: float) -> Floats:
    angle = np.deg2rad(angle_deg)
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _similarity(first: Floats, second: Floats) -> tuple[float, float, Floats]:
    """Least-squares angle (degrees), ratio and shift from first to second (Umeyama 1991)."""
    a, b = first - first.mean(axis=0), second - second.mean(axis=0)
    along = float((a * b).sum())
    across = float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum())
    ratio = np.hypot(along, across) / max(float((a * a).sum()), 1e-12)
    angle = float(np.rad2deg(np.arctan2(across, along)))
    return angle, float(ratio), second.mean(axis=0) - ratio * _turned(angle) @ first.mean(axis=0)


@dataclass(frozen=True)
class _Camera:
    """The fitted model: `values` 8 of the homography, 1 radial, then x, y of every part but the first."""

    values: Floats
    covariance: Floats

    def shift(self, part: int) -> Floats:
        return self.values[9 + 2 * (part - 1) : 11 + 2 * (part - 1)] if part else np.zeros(2)

    def apart(self, a: int, b: int) -> tuple[float, float]:
        """Length of b's shift against a's, and its standard deviation, in half long sides."""
        pick = np.zeros((2, len(self.values)))
        for part, sign in ((a, -1.0), (b, 1.0)):
            if part:
                pick[[0, 1], [9 + 2 * (part - 1), 10 + 2 * (part - 1)]] = sign
        vector = pick @ self.values
        spread = float(np.sqrt(np.linalg.eigvalsh(pick @ self.covariance @ pick.T).max()))
        return float(np.linalg.norm(vector)), spread

    def left_px(self, seen: _Seen) -> float:
        """px on the overview between matches and the model, typical match of the part that fits worst."""
        return max(
            float(np.median(np.linalg.norm(self.pictured(places + self.shift(i), seen.half_px) - found, axis=1)))
            for i, (places, found) in enumerate(zip(seen.joined, seen.pictured, strict=True))
        )

    @property
    def slant(self) -> float:
        return float(np.hypot(self.values[6], self.values[7]))

    @property
    def stretch(self) -> float:
        """Larger over smaller singular value of the homography at the middle of the joined image."""
        h = self.values
        here = np.array([[h[0] - h[2] * h[6], h[1] - h[2] * h[7]], [h[3] - h[5] * h[6], h[4] - h[5] * h[7]]])
        sizes = np.linalg.svd(here, compute_uv=False)
        return float(sizes[0] / sizes[1])

    def joined(self, places: Floats) -> Floats:
        """Places on the overview on the joined image, the lens left out."""
        back = np.linalg.inv(np.append(self.values[:8], 1.0).reshape(3, 3))
        found = np.column_stack([places, np.ones(len(places))]) @ back.T
        return np.asarray(found[:, :2] / found[:, 2:])

    def pictured(self, places: Floats, half_px: float) -> Floats:
        """Joined places, as in `_Seen`, on the overview."""
        h = self.values
        below = 1 + places @ h[6:8]
        flat = np.column_stack([places @ h[0:2] + h[2], places @ h[3:5] + h[5]]) / below[:, None]
        radius = (flat**2).sum(axis=1, keepdims=True) / half_px**2
        return np.asarray(flat * (1 + h[8] * radius))


def _fitted(seen: _Seen) -> _Camera:
    angle, ratio, shift = _similarity(np.concatenate(seen.joined), np.concatenate(seen.pictured))
    linear = ratio * _turned(angle)
    start = np.concatenate([[*linear[0], shift[0], *linear[1], shift[1], 0, 0, 0], np.zeros(2 * len(seen.joined) - 2)])
    held = np.array([1 / _SLANT, 1 / _SLANT, 1 / _LENS])

    def left(values: Floats) -> Floats:
        camera = _Camera(values, np.zeros((0, 0)))
        apart = [
            (camera.pictured(places + camera.shift(i), seen.half_px) - found).ravel()
            for i, (places, found) in enumerate(zip(seen.joined, seen.pictured, strict=True))
        ]
        return np.concatenate([*apart, values[6:9] * held])

    scale = np.concatenate([[ratio, ratio, ratio, ratio, ratio, ratio, _SLANT, _SLANT, _LENS],
                            np.full(len(start) - 9, 0.01)])  # fmt: skip
    found = optimize.least_squares(left, start, loss="soft_l1", f_scale=_ROBUST_PX, x_scale=scale, max_nfev=200)
    rest = left(found.x)[:-3]
    variance = max((1.4826 * float(np.median(np.abs(rest)))) ** 2, 0.05**2)
    information = found.jac.T @ found.jac + np.diag(1e-12 / scale**2)
    return _Camera(np.asarray(found.x), np.asarray(variance * np.linalg.pinv(information)))


_SIDES = ("left", "top", "right", "bottom")


@dataclass(frozen=True)
class _Edges:
    """How far the work reaches: `joined` left, top, right, bottom by the parts' own outlines, in px of the joined
    image; `pictured` (4, 2) middles of the sides of the work on the overview, in its px; `open` where the work runs
    out of the outermost part's frame. Nothing is said where an outline is not known."""

    joined: Floats
    pictured: Floats
    open: tuple[bool, bool, bool, bool]
    known: bool

    def beyond(self, camera: _Camera, seen: _Seen, size: tuple[int, int]) -> tuple[Level, str] | None:
        """What the overview shows of the work beyond the parts on one side, when the side opposite agrees."""
        if not self.known:
            return None
        half = max(size) / 2
        middle = (np.array(size) - 1) / 2
        places = camera.joined(self.pictured)
        low, high = places.min(axis=0), places.max(axis=0)
        own = (self.joined.reshape(2, 2) - middle) / half
        wide = np.tile(own[1] - own[0], 2)
        more = np.concatenate([own[0] - low, high - own[1]]) / wide
        side = int(np.argmax(more))
        if more[side] < MORE_SHARE or abs(more[(side + 2) % 4]) > LESS_SHARE:
            return None
        mm = float(more[side] * wide[side]) * seen.half_side_mm
        text = f"shows about {mm:.0f} mm more of the work at the {_SIDES[side]} than the parts do"
        if self.open[side]:
            return Level.FAULT, f"contradicts the join: it {text}; a part is missing there"
        return Level.UNDECIDED, f"{text}: a part may be missing, or the overview shows a frame"


def _edges(pictured: View, views: Sequence[View], matrices: Sequence[Matrix]) -> _Edges:
    known = pictured.part.box is not None and all(view.part.box is not None for view in views)
    reach = []
    for view, matrix in zip(views, matrices, strict=True):
        box = view.work
        corners = np.array([[x, y] for x in (box.x, box.right - 1.0) for y in (box.y, box.bottom - 1.0)])
        moved = apply(matrix, corners)
        reach.append([*moved.min(axis=0), *moved.max(axis=0)])
    reached = np.array(reach)
    outermost = [*reached[:, :2].argmin(axis=0), *reached[:, 2:].argmax(axis=0)]
    runs_out = tuple(_at_frame(views[int(i)], side) for side, i in enumerate(outermost))
    box = pictured.work
    across, along = box.x + (box.width - 1) / 2, box.y + (box.height - 1) / 2
    ends = np.array([[box.x, along], [across, box.y], [box.right - 1.0, along], [across, box.bottom - 1.0]])
    centre, unit = _overview_frame(pictured)
    joined = np.concatenate([reached[:, :2].min(axis=0), reached[:, 2:].max(axis=0)])
    return _Edges(joined, (ends - centre) / unit, (runs_out[0], runs_out[1], runs_out[2], runs_out[3]), known)


def _at_frame(view: View, side: int) -> bool:
    box = view.work
    return (box.x <= 1, box.y <= 1, box.right >= view.width - 1, box.bottom >= view.height - 1)[side]


def _overview_frame(pictured: View) -> tuple[Floats, float]:
    """Middle of the overview in its px, and its px in one of a picture 1600 px long."""
    centre = (np.array([pictured.width, pictured.height], dtype=np.float64) - 1) / 2
    return centre, max(pictured.width, pictured.height) / 1600


def _way(shift: Floats) -> str:
    """The stronger direction of a shift of the right way round, in words."""
    across = abs(shift[0]) > abs(shift[1])
    word = ("left", "right") if across else ("up", "down")
    return f"further {word[1]}" if (shift[0] if across else shift[1]) > 0 else f"further {word[0]}"


def _judged(name: str, seen: _Seen, camera: _Camera, parts: int, edges: _Edges, size: tuple[int, int]) -> Geometry:
    allowed = max(LEAST_SHIFT_MM, LEAST_SHIFT_SHARE * 2 * seen.half_side_mm)
    far: list[tuple[float, float, int, int]] = []
    for a, b in combinations(range(len(seen.names)), 2):
        apart, spread = camera.apart(a, b)
        far.append((apart * seen.half_side_mm, spread * seen.half_side_mm, a, b))
    mm, spread_mm, a, b = max(far)
    first, second = seen.names[a], seen.names[b]
    if mm > allowed and mm > CERTAIN * spread_mm:
        return Geometry(
            Level.FAULT,
            f"the overview {name} contradicts the join: on it {second} lies {mm:.1f} mm from the place where it was"
            f" joined to {first} ({_way(camera.shift(b) - camera.shift(a))}); a band may be missing or doubled",
            mm,
        )
    if camera.stretch > STRETCH and camera.slant < SLANT_SEEN:
        return Geometry(
            Level.FAULT,
            f"the overview {name} contradicts the join: width to height differ by {100 * (camera.stretch - 1):.1f} %"
            " and it shows no slant that would explain it",
            mm,
        )
    vague = max(far, key=lambda f: f[1])
    if 3 * vague[1] > max(allowed, mm):
        return Geometry(
            Level.UNDECIDED,
            f"the overview {name} is too poor to check the places of the parts: it tells them to within"
            f" {3 * vague[1]:.0f} mm only, {allowed:.0f} mm are needed",
            mm,
        )
    more = edges.beyond(camera, seen, size)
    if more is not None:
        return Geometry(more[0], f"the overview {name} {more[1]}", mm)
    shown = "every part" if len(seen.names) == parts else f"{len(seen.names)} of {parts} parts, those found on it,"
    return Geometry(
        Level.SOUND,
        f"the overview {name} shows {shown} where the join put it, to within {mm:.1f} mm; at most {allowed:.1f} mm"
        " allowed",
        mm,
    )
