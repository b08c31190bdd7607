"""Moving a part onto the joined image, once: rows first, then columns (Catmull and Smith 1980), with the windowed
sinc of six taps (Duchon 1979), corrected so that slopes stay where they are, at 2048 places between two pixels, so
nothing is moved by rounding. Whole-pixel shifts are copied.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from .parts import Matrix, Pixels, Warp
from .view import View, inverse

Floats = npt.NDArray[np.float64]
TAPS = 6
_PHASES = 2048
RIM_PX = 2.0  # places nearer the rim than this lean on repeated pixels


def kernel_table() -> npt.NDArray[np.float32]:
    """(phases + 1, taps) weights for a place between the third and the fourth tap.

    Plain windowed weights move slow slopes by up to 0.02 px; the least change that makes each row sum to 1 and its
    first three moments vanish (cubics pass through exactly, Strang and Fix 1971) takes that away.
    """
    place = np.linspace(0.0, 1.0, _PHASES + 1)[:, None]
    distance = np.arange(-2, 4)[None, :] - place
    weights = np.sinc(distance) * np.sinc(distance / 3) * (np.abs(distance) < 3)
    powers = distance[:, None, :] ** np.arange(4)[None, :, None]
    room = np.maximum(np.abs(weights), 1e-3)[:, None, :]
    wanted = np.array([1.0, 0.0, 0.0, 0.0]) - np.einsum("pok,pk->po", powers, weights)
    normal = np.einsum("pok,pqk->poq", powers * room, powers)
    share = np.linalg.solve(normal, wanted[:, :, None])[:, :, 0]
    return np.asarray(weights + room[:, 0] * np.einsum("pok,po->pk", powers, share), dtype=np.float32)


_TABLE = kernel_table()


def along_last(planes: npt.NDArray[np.float32], place: npt.NDArray[np.float64]) -> npt.NDArray[np.float32]:
    """(lines, channels, n) sampled along the last axis at `place` (lines, m) px; places stay within 2 .. n - 4.

    Runs of neighbouring places share their whole-pixel offset, so each run is six multiply-adds on slices.
    """
    lines, channels, _ = planes.shape
    count = place.shape[1]
    whole = np.floor(place)
    phase = np.rint((place - whole) * _PHASES).astype(np.int32)
    first = whole.astype(np.int64) - np.arange(count)
    breaks = np.diff(first, axis=1) != 0
    out = np.empty((lines, channels, count), np.float32)
    for line in range(lines):
        ends = np.flatnonzero(breaks[line]) + 1 if breaks[line].any() else ()
        weights = np.ascontiguousarray(_TABLE[phase[line]].T)
        start = 0
        for end in (*ends, count):
            at = int(first[line, start]) + start - 2
            length = end - start
            total = planes[line, :, at : at + length] * weights[0, start:end]
            for tap in range(1, TAPS):
                total += planes[line, :, at + tap : at + tap + length] * weights[tap, start:end]
            out[line, :, start:end] = total
            start = end
    return out


class Mover:
    """One view seen from the joined image: `matrix` takes the view's pixel centres to the joined image's."""

    def __init__(self, view: View, matrix: Matrix, warps: Sequence[Warp] = ()) -> None:
        self.view, self.matrix, self.warps = view, matrix, tuple(warps)
        self.back = inverse(matrix)
        shift = np.rint(matrix[:, 2])
        self.whole_px = not self.warps and bool(
            np.array_equal(matrix[:, :2], np.eye(2)) and np.array_equal(shift, matrix[:, 2])
        )

    def bent(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """The sum of the warps at joined places u, v (same shape)."""
        du, dv = np.zeros(np.broadcast(u, v).shape), np.zeros(np.broadcast(u, v).shape)
        for warp in self.warps:
            at = np.stack(np.broadcast_arrays((v - warp.y0) / warp.step, (u - warp.x0) / warp.step))
            du += ndimage.map_coordinates(warp.grid_px[:, :, 0], at, order=1, mode="constant")
            dv += ndimage.map_coordinates(warp.grid_px[:, :, 1], at, order=1, mode="constant")
        return du, dv

    def source(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """Where joined places lie in the view, x and y."""
        if self.warps:
            du, dv = self.bent(u, v)
            u, v = u + du, v + dv
        b = self.back
        return b[0, 0] * u + b[0, 1] * v + b[0, 2], b[1, 0] * u + b[1, 1] * v + b[1, 2]

    def covers(self, u: Floats, v: Floats) -> npt.NDArray[np.bool_]:
        """Whether joined places have real pixels of the view beneath them."""
        x, y = self.source(u, v)
        rim = 0.0 if self.whole_px else RIM_PX
        return np.asarray(
            (x >= rim) & (y >= rim) & (x <= self.view.width - 1 - rim) & (y <= self.view.height - 1 - rim)
        )

    def frame(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom of the view on the joined image, pixel centres, without warps."""
        corners = np.array([[x, y] for x in (0.0, self.view.width - 1.0) for y in (0.0, self.view.height - 1.0)])
        moved = corners @ self.matrix[:, :2].T + self.matrix[:, 2]
        low, high = moved.min(axis=0), moved.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def block(self, left: int, top: int, width: int, height: int) -> Pixels:
        """(rows, columns, channels) of a rectangle of the joined image, in the view's own type; beyond the view its
        rim is repeated."""
        if self.whole_px:
            dx, dy = (int(d) for d in self.matrix[:, 2])
            return _padded(self.view, left - dx, top - dy, width, height)
        return self._resampled(left, top, width, height)

    def _resampled(self, left: int, top: int, width: int, height: int) -> Pixels:
        u = np.arange(left, left + width, dtype=np.float64)
        v = np.arange(top, top + height, dtype=np.float64)
        x, y = self.source(u[None, :], v[:, None])
        x0, x1 = int(np.floor(x.min())) - 4, int(np.ceil(x.max())) + 5
        y0, y1 = int(np.floor(y.min())) - 3, int(np.ceil(y.max())) + 5
        pixels = _padded(self.view, x0, y0, x1 - x0, y1 - y0)
        planes = np.ascontiguousarray(pixels.transpose(0, 2, 1), dtype=np.float32)
        across = self._row_places(u, np.arange(y0, y1, dtype=np.float64), v) - x0
        middle = along_last(planes, np.clip(across, 2, planes.shape[2] - 4.001))
        columns = np.ascontiguousarray(middle.transpose(2, 1, 0))
        down = along_last(columns, np.clip(y.T - y0, 2, columns.shape[2] - 4.001))
        top_value = np.float32(self.view.full_scale)
        found = np.clip(np.rint(down.transpose(2, 0, 1)), 0, top_value)
        return np.asarray(found.astype(pixels.dtype))

    def _row_places(self, u: Floats, rows: Floats, v: Floats) -> Floats:
        """(rows, columns) x in the view at which row y meets joined column u: v is solved for first."""
        b = self.back
        y = rows[:, None]
        place = (y - b[1, 2] - b[1, 0] * u[None, :]) / b[1, 1]
        if not self.warps:
            return np.asarray(b[0, 0] * u[None, :] + b[0, 1] * place + b[0, 2])
        straight = place
        for _ in range(3):
            du, dv = self.bent(u[None, :], np.clip(place, v[0] - 8, v[-1] + 8))
            place = straight - dv - b[1, 0] * du / b[1, 1]
        du, dv = self.bent(u[None, :], np.clip(place, v[0] - 8, v[-1] + 8))
        return np.asarray(b[0, 0] * (u[None, :] + du) + b[0, 1] * (place + dv) + b[0, 2])


def _padded(view: View, x: int, y: int, width: int, height: int) -> Pixels:
    x0, y0 = min(max(x, 0), view.width - 1), min(max(y, 0), view.height - 1)
    x1, y1 = max(min(x + width, view.width), x0 + 1), max(min(y + height, view.height), y0 + 1)
    found = view.pixels(x0, y0, x1 - x0, y1 - y0)
    if (x0, y0, x1, y1) == (x, y, x + width, y + height):
        return found
    rims = ((max(y0 - y, 0), max(y + height - y1, 0)), (max(x0 - x, 0), max(x + width - x1, 0)), (0, 0))
    return np.pad(found, rims, mode="edge")[:height, :width]
