"""All cuts of a grid: first between the parts of each row, then between whole rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from .blend import Layer, Mosaic
from .cut import Field, Image, cut_between, field_over
from .layout import Layout
from .parts import Cut
from .view import apply, at_level, compose, in_strip, shrink

Floats = npt.NDArray[np.float64]
STRIP_SHOWN = 0.01  # of a strip's pixels: below, it is not used

_BAND = 512


@dataclass(frozen=True)
class Strip:
    """What became of a part's stitch strip: the share of it shown where another part could have been."""

    part: str
    place_px: float
    shown_share: float  # of the strip's pixels, all of it
    avoidable_share: float  # of the strip's pixels that another part covers


def cut_all(layers: Sequence[Layer], layout: Layout, feather_px: float) -> tuple[tuple[Cut, ...], tuple[Strip, ...]]:
    """Cuts within rows, row by row, then between rows; and what they leave of the stitch strips."""
    within = []
    for row in layout.rows:
        within.append(tuple(_within(layers, a, b) for a, b in pairwise(row)))
    mosaic = Mosaic(tuple(layers), layout.rows, tuple(within), (), feather_px)
    between = tuple(_between(mosaic, r, feather_px) for r in range(len(layout.rows) - 1))
    cuts = (*(cut for row in within for cut in row), *between)
    whole = Mosaic(tuple(layers), layout.rows, tuple(within), between, feather_px)
    return cuts, strips_left(whole, layout)


def _within(layers: Sequence[Layer], a: int, b: int) -> Cut:
    """The upright cut between neighbours of a row."""
    left = layers[b].mover.frame()
    right = layers[a].mover.frame()
    top, bottom = max(left[1], right[1]), min(left[3], right[3])
    field = field_over(left[0], top, right[2], bottom)
    names = layers[a].mover.view.name, layers[b].mover.view.name
    if field is None:
        middle = np.float32((left[0] + right[2]) / 2)
        return Cut(*names, True, int(top), np.full(2, middle, np.float32))
    first, path = cut_between(field, lambda f: _seen(layers[a], f), lambda f: _seen(layers[b], f), upright=True)
    return Cut(*names, True, first, path)


def _between(mosaic: Mosaic, row: int, feather_px: float) -> Cut:
    """The level cut between two rows, each already cut within."""
    upper, lower = mosaic.rows[row], mosaic.rows[row + 1]
    frames = [[mosaic.layers[i].mover.frame() for i in parts] for parts in (upper, lower)]
    left = max(min(f[0] for f in side) for side in frames)
    right = min(max(f[2] for f in side) for side in frames)
    top, bottom = min(f[1] for f in frames[1]), max(f[3] for f in frames[0])
    field = field_over(left, top, right, bottom)
    names = mosaic.layers[upper[0]].mover.view.name, mosaic.layers[lower[0]].mover.view.name
    if field is None:
        middle = np.float32((top + bottom) / 2)
        return Cut(*names, False, int(left), np.full(2, middle, np.float32))
    first, path = cut_between(
        field, lambda f: _seen_row(mosaic, row, f), lambda f: _seen_row(mosaic, row + 1, f), upright=False
    )
    return Cut(*names, False, first, path)


def _seen(layer: Layer, field: Field) -> tuple[Image, npt.NDArray[np.bool_], Image]:
    """Values 0..1 at the field's places, where the part has pixels, and where its stitch strips are."""
    has = layer.mover.covers(field.columns[None, :], field.rows[:, None])
    return _reduced(layer, field), np.broadcast_to(has, field.shape), _barred(layer, field)


def _reduced(layer: Layer, field: Field) -> Image:
    """The moved part by means of step x step pixels; for choosing a path only, so moved bilinearly."""
    rows, columns = field.shape
    mover, step = layer.mover, field.step
    half = (step - 1) / 2
    left, top = field.columns[0] - half, field.rows[0] - half
    corners = np.array([[x, y] for x in (left, left + columns * step) for y in (top, top + rows * step)])
    moved = apply(mover.back, corners)
    low = np.maximum(np.floor(moved.min(axis=0)).astype(int) - 2 * step, 0)
    high = np.minimum(np.ceil(moved.max(axis=0)).astype(int) + 2 * step, [mover.view.width, mover.view.height])
    size = np.maximum((high - low) // step, 1)
    small = np.empty((size[1], size[0], mover.view.part.image.channels), np.float32)
    lines = max(1, _BAND // step)
    for row in range(0, int(size[1]), lines):
        count = min(lines, int(size[1]) - row)
        band = mover.view.pixels(int(low[0]), int(low[1]) + row * step, int(size[0]) * step, count * step)
        planes = [band[:, :, c] if t is None else t[band[:, :, c]] for c, t in enumerate(layer.tables)]
        small[row : row + count] = shrink(np.stack(planes, axis=2), step)
    small /= mover.view.full_scale
    onto_field = compose(mover.matrix, np.column_stack([np.eye(2), low.astype(np.float64)]))
    onto_field = np.column_stack([onto_field[:, :2], onto_field[:, 2] - [left, top]])
    out = cv2.warpAffine(
        small, at_level(onto_field, step), (columns, rows), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(out, dtype=np.float32).reshape(rows, columns, -1)


def _barred(layer: Layer, field: Field) -> Image:
    if not layer.mover.view.part.seams_px:
        return np.zeros(field.shape, np.float32)
    x, y = layer.mover.source(field.columns[None, :], field.rows[:, None])
    return in_strip(layer.mover.view, x, y).astype(np.float32)


def _seen_row(mosaic: Mosaic, row: int, field: Field) -> tuple[Image, npt.NDArray[np.bool_], Image]:
    """A whole row as `_seen`, its parts put together by their cuts."""
    shares = mosaic.row_shares(row, field.columns, field.rows)
    values: Image | None = None
    barred = np.zeros(field.shape, np.float32)
    for part, share in zip(mosaic.rows[row], shares, strict=True):
        if share.max() <= 0:
            continue
        layer = mosaic.layers[part]
        seen = _reduced(layer, field) * share[:, :, None].astype(np.float32)
        values = seen if values is None else values + seen
        barred = np.maximum(barred, _barred(layer, field) * (share > 0.5))
    total = np.sum(shares, axis=0)
    if values is None:
        values = np.zeros((*field.shape, mosaic.layers[0].mover.view.part.image.channels), np.float32)
    return values, total > 0.5, barred


def _on_work(layer: Layer, x: Floats, y: Floats) -> npt.NDArray[np.bool_]:
    """Which places of the part's view show its work: a stitch in the lid spoils nothing."""
    box = layer.mover.view.work
    return np.asarray((x >= box.x) & (x < box.right) & (y >= box.y) & (y < box.bottom))


def strips_left(mosaic: Mosaic, layout: Layout) -> tuple[Strip, ...]:
    """How much of every part's stitch strips on the work is shown, looked at on a coarse net."""
    step = max(1.0, float(np.sqrt(layout.width * layout.height / 400_000)))
    u, v = np.arange(0, layout.width, step), np.arange(0, layout.height, step)
    shares = mosaic.shares(u, v)
    has = [layer.mover.covers(u[None, :], v[:, None]) for layer in mosaic.layers]
    covered = np.sum(has, axis=0)
    out = []
    for index, layer in enumerate(mosaic.layers):
        part = layer.mover.view.part
        x, y = layer.mover.source(u[None, :], v[:, None])
        to_part = layer.mover.view.to_part
        across = to_part[0, 0] * x + to_part[0, 1] * y + to_part[0, 2]
        shown = shares.get(index, np.zeros((len(v), len(u))))
        for seam in part.seams_px:
            strip = has[index] & _on_work(layer, x, y) & (np.abs(across - seam) <= part.seam_halfwidth_px)
            count = max(1, int(strip.sum()))
            used = float(shown[strip].sum()) / count
            avoidable = float((shown * (covered > 1))[strip].sum()) / count
            out.append(Strip(part.name, seam, used, avoidable))
    return tuple(out)
