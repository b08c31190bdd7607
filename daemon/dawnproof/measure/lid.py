"""What lies around the work: the lid of the bed, or the dark room where it was left open.

The lid is looked for along the rim of the scan, its tone carried inwards as a smooth surface, and every pixel's
distance from it taken. Pictures are overviews: (rows, columns, channels) float32, 0 to 1 in the file's encoding.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Picture = npt.NDArray[np.float32]
Mask = npt.NDArray[np.uint8]
Factors = npt.NDArray[np.float64]  # (6, channels)

_RIM_PX = 4
_SEGMENT_PX = 24
_NEIGHBOUR_TONE = 0.03  # two pieces of rim side by side belong to the same lid below this difference
_LID_SPREAD = 0.10  # all pieces of one lid lie within this of its middle tone
_LEAST_SHARE = 0.08  # of the rim
_MOST_TINT = 0.10  # lids are neutral; a coloured rim is the work itself
_MOST_GAIN = 0.03  # difference of two cameras, share of the tone
_FIT_PIXELS = 6_000
_FIT_SIDE_PX = 700
_COLUMN_ROWS = 600
_GRID = 64


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """The lid as seen: its kind, each pixel's distance from it (largest over the channels), the distance above which
    a pixel is not lid, and its grain: the change of tone a pixel, summed over the channels, by noise alone."""

    kind: str
    distance: npt.NDArray[np.float32]
    threshold: float
    grain: float
    reach: Mask  # 1 where lid is connected with the rim


def surroundings(picture: Picture, expected: str) -> Surroundings | None:
    """The lid around the work, or None where the rim of the scan shows none. `expected` is the bed's own lid."""
    tones, places = _rim(picture)
    members = _largest_tone(tones, expected)
    if members is None:
        return None
    kind = _kind(tones[members])
    seeds = np.zeros(picture.shape[:2], np.uint8)
    for top, left, bottom, right in places[members]:
        seeds[top:bottom, left:right] = 1
    surface = _settled(picture, seeds, kind, linear_only=_sides_seen(places[members], picture) < 3)
    distance = _distance(picture, surface)
    threshold = _threshold(_noise(distance, seeds), kind)
    reach = _connected(distance < threshold, seeds)
    distance = _distance(picture, surface, _columns(picture, surface, reach))
    threshold = _threshold(_noise(distance, reach), kind)
    reach = _connected(distance < threshold, seeds)
    return Surroundings(kind, distance, threshold, _grain(picture, reach), reach)


def _settled(picture: Picture, seeds: Mask, kind: str, linear_only: bool) -> Factors:
    """The lid's surface, fitted to the rim and then twice to all that hangs together with it, on a coarser grid."""
    step = max(1, max(picture.shape[:2]) // _FIT_SIDE_PX)
    coarse, rim = np.ascontiguousarray(picture[::step, ::step]), np.ascontiguousarray(seeds[::step, ::step])
    surface = _surface(coarse, rim, linear_only)
    known = rim
    for _ in range(2):
        distance = _distance(coarse, surface, _columns(coarse, surface, known))
        reach = _connected(distance < _threshold(_noise(distance, known), kind), rim)
        if not reach.any():
            break
        known = reach
        surface = _surface(coarse, known, linear_only=False)
    return surface


def _rim(picture: Picture) -> tuple[Picture, npt.NDArray[np.int64]]:
    """Median tone (n, channels) and place (n, 4: top, left, bottom, right) of each piece of rim, clockwise."""
    rows, columns = picture.shape[:2]
    deep = min(_RIM_PX, rows // 3, columns // 3)
    across = [(a, min(a + _SEGMENT_PX, columns)) for a in range(0, columns, _SEGMENT_PX)]
    down = [(a, min(a + _SEGMENT_PX, rows)) for a in range(0, rows, _SEGMENT_PX)]
    places = [(0, a, deep, b) for a, b in across] + [(a, columns - deep, b, columns) for a, b in down]
    places += [(rows - deep, a, rows, b) for a, b in reversed(across)] + [(a, 0, b, deep) for a, b in reversed(down)]
    tones = [np.median(picture[t:b, le:r].reshape(-1, picture.shape[2]), axis=0) for t, le, b, r in places]
    return np.asarray(tones, np.float32), np.asarray(places)


def _largest_tone(tones: Picture, expected: str) -> npt.NDArray[np.int64] | None:
    """Which pieces of rim show the lid: the largest run of like neighbours, with all other runs of its tone."""
    breaks = np.abs(np.diff(tones, axis=0, prepend=tones[-1:])).max(axis=1) > _NEIGHBOUR_TONE
    runs = np.cumsum(breaks)
    runs[runs == runs[-1]] = runs[0] if not breaks[0] else runs[-1]
    best: npt.NDArray[np.int64] | None = None
    best_score = 0.0
    for run in np.unique(runs):
        middle = np.median(tones[runs == run], axis=0)
        members = np.flatnonzero(np.abs(tones - middle).max(axis=1) < _LID_SPREAD)
        share = len(members) / len(tones)
        if share < _LEAST_SHARE or np.ptp(middle) > _MOST_TINT:
            continue
        score = share * (1.0 if _kind(tones[members]) == expected else 0.5)
        if score > best_score:
            best, best_score = members, score
    return best


def _kind(tones: Picture) -> str:
    level = float(tones.mean())
    if level > 0.7:
        return "white"
    if level > 0.2:
        return "grey"
    spread = float(np.ptp(np.percentile(tones.mean(axis=1), (5, 95))))
    return "open" if spread > 0.25 * level + 0.002 else "black"


def _sides_seen(places: npt.NDArray[np.int64], picture: Picture) -> int:
    rows, columns = picture.shape[:2]
    ends = np.array([0, 0, rows, columns])
    return int((places == ends).any(axis=0).sum())


def _terms(y: npt.NDArray[np.float64], x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.stack((np.ones_like(x), x, y, x * y, x * x, y * y), axis=-1)


def _surface(picture: Picture, where: Mask, linear_only: bool) -> Factors:
    """A smooth surface through the masked pixels, as factors (6, channels) of the terms above: least squares with a
    small ridge, outliers dropped twice."""
    rows, columns = where.shape
    at = np.flatnonzero(where)
    at = at[:: max(1, len(at) // _FIT_PIXELS)]
    y, x = (at // columns + 0.5) / rows * 2 - 1, (at % columns + 0.5) / columns * 2 - 1
    terms, values = _terms(y, x), picture.reshape(-1, picture.shape[2])[at].astype(np.float64)
    ridge = len(at) * np.array([0.0, 1e-4, 1e-4, *((1e3,) * 3 if linear_only else (1e-3,) * 3)])
    keep = np.ones(len(at), bool)
    for _ in range(3):
        a = terms[keep]
        factors = np.linalg.solve(a.T @ a + np.diag(ridge), a.T @ values[keep])
        off = np.abs(values - terms @ factors).max(axis=1)
        keep = off <= 3 * max(float(np.median(off[keep])), 1e-4)
    return np.asarray(factors, np.float64)


def _layer(factors: Factors, channel: int, shape: tuple[int, ...]) -> Picture:
    """One channel of the surface over the whole picture: computed on a small grid, in between linear."""
    y = (np.arange(_GRID)[:, None] + 0.5) / _GRID * 2 - 1
    x = (np.arange(_GRID)[None, :] + 0.5) / _GRID * 2 - 1
    f = factors[:, channel]
    grid = f[0] + f[1] * x + f[2] * y + f[3] * x * y + f[4] * x * x + f[5] * y * y
    return np.asarray(cv2.resize(grid.astype(np.float32), (shape[1], shape[0])), np.float32)


def _columns(picture: Picture, surface: Factors, reach: Mask) -> Picture:
    """Each sensor column's own departure from the surface (columns, channels), 0 where little lid is seen in it.

    Two line cameras differ in gain: the lid then has a step at the stitch which no smooth surface follows.
    """
    step = max(1, picture.shape[0] // _COLUMN_ROWS)
    lid = reach[::step].astype(np.float32)
    count = lid.sum(axis=0)
    offsets = []
    for channel in range(picture.shape[2]):
        layer = _layer(surface, channel, picture.shape)[::step]
        off = ((picture[::step, :, channel] - layer) * lid).sum(axis=0) / np.maximum(count, 1)
        most = _MOST_GAIN * np.abs(layer).mean(axis=0)
        off[count < 8] = 0.0
        offsets.append(np.clip(np.asarray(cv2.medianBlur(off[None].astype(np.float32), 5))[0], -most, most))
    return np.stack(offsets, axis=1).astype(np.float32)


def _distance(picture: Picture, surface: Factors, columns: Picture | None = None) -> Picture:
    """Each pixel's distance from the surface, largest over the channels."""
    distance = np.zeros(picture.shape[:2], np.float32)
    for channel, plane in enumerate(cv2.split(picture)):
        layer = _layer(surface, channel, picture.shape)
        if columns is not None:
            layer += columns[None, :, channel]
        cv2.absdiff(plane, layer, layer)
        cv2.max(distance, layer, distance)
    return distance


def _noise(distance: Picture, lid: Mask) -> float:
    sample = distance[lid > 0]
    return float(np.median(sample)) / 0.9 if len(sample) else 0.01


def _grain(picture: Picture, lid: Mask) -> float:
    rows = slice(None, None, max(1, picture.shape[0] // _COLUMN_ROWS))
    view, mask = picture[rows], lid[rows]
    change = np.abs(view[:, 2:] - view[:, :-2]).sum(axis=2) / 2
    on_lid = change[(mask[:, 2:] > 0) & (mask[:, :-2] > 0)]
    return float(np.median(on_lid)) if len(on_lid) else 0.01


def _threshold(noise: float, kind: str) -> float:
    least = 0.015 if kind == "open" else 0.006
    return float(np.clip(6 * noise, least, 0.06))


def _connected(lid: npt.NDArray[np.bool_], seeds: Mask) -> Mask:
    """The part of `lid` that hangs together with the rim pieces that show it."""
    _, labels = cv2.connectedComponents(lid.astype(np.uint8), connectivity=4, ltype=cv2.CV_32S)
    rim = np.unique(labels[(seeds > 0) & lid])
    chosen = np.zeros(int(labels.max()) + 1, np.uint8)
    chosen[rim[rim > 0]] = 1
    return np.asarray(chosen[np.asarray(labels, np.int32)])
