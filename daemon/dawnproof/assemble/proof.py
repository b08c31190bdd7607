"""Proof pictures: the master made small, and close-ups at 1:1 on one sheet, in sRGB through the embedded profile
(relative colorimetric with black point compensation)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pyvips

Pixels = npt.NDArray[Any]
Rgb = npt.NDArray[np.uint8]  # (rows, columns, 3), sRGB

PAPER = (245, 243, 240)
INK = (40, 40, 40)
LABEL_ROWS = 30


class Shrinker:
    """Bands in, one small picture out: whole blocks are averaged, then brought to the long side asked for."""

    def __init__(self, width: int, height: int, long_side: int) -> None:
        self._factor = max(1, max(width, height) // max(long_side, 1))
        self._target = long_side
        self._rest: Pixels | None = None
        self._rows: list[Pixels] = []

    def see(self, pixels: Pixels) -> None:
        """The next rows, (rows, columns, channels)."""
        factor = self._factor
        rows = pixels if self._rest is None else np.concatenate((self._rest, pixels))
        whole = rows.shape[0] // factor * factor
        self._rest = rows[whole:].copy() if whole < rows.shape[0] else None
        if whole:
            columns = rows.shape[1] // factor * factor or rows.shape[1]
            block = np.ascontiguousarray(rows[:whole, :columns])
            size = (max(1, columns // factor), whole // factor)
            small = cv2.resize(block, size, interpolation=cv2.INTER_AREA)
            self._rows.append(small.reshape(size[1], size[0], rows.shape[2]))

    def picture(self) -> Pixels:
        """The small picture, in the type of the bands."""
        rows = list(self._rows)
        if not rows and self._rest is not None:
            rows = [self._rest]
        picture = np.concatenate(rows)
        scale = self._target / max(picture.shape[:2])
        if scale < 1:
            size = (max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale)))
            channels = picture.shape[2]
            picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA).reshape(size[1], size[0], channels)
        return picture


def to_srgb(pixels: Pixels, icc: bytes | None) -> Rgb:
    """8-bit sRGB through the embedded profile; without a usable one the values are taken for sRGB or grey as they
    are."""
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    deep = pixels.dtype == np.uint16
    image = image.copy(
        interpretation=("rgb16" if deep else "srgb") if pixels.shape[2] == 3 else ("grey16" if deep else "b-w")
    )
    if icc:
        image = image.copy()
        kind: Any = pyvips.GValue.blob_type
        profile: Any = icc  # the stubs know no bytes
        image.set_type(kind, "icc-profile-data", profile)
        try:
            converted = image.icc_transform("srgb", embedded=True, intent="relative", black_point_compensation=True,
                                             depth=8)  # fmt: skip
            return _rgb(converted.numpy())
        except pyvips.Error:
            pass  # a broken profile is a finding of its own; the proof is shown without it
    plain = pixels if not deep else (pixels >> 8).astype(np.uint8)
    return _rgb(plain)


def sharpened(picture: Rgb) -> Rgb:
    """Output sharpening for the screen: what shrinking took from the edges."""
    soft = cv2.GaussianBlur(picture, (0, 0), 0.7)
    return np.asarray(cv2.addWeighted(picture, 1.5, soft, -0.5, 0), np.uint8)


def jpeg(picture: Rgb, quality: int = 90) -> bytes:
    """JPEG bytes of an sRGB picture."""
    done, data = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError("the proof could not be encoded")
    return bytes(data)


@dataclass(frozen=True, eq=False)
class CloseUp:
    """One close-up at 1:1: what it shows, the picture, and the marked place in it (x, y, width, height) or None."""

    label: str
    picture: Rgb
    marked: tuple[int, int, int, int] | None = None


def sheet(close_ups: Sequence[CloseUp], columns: int = 2, background: tuple[int, int, int] = PAPER) -> Rgb:
    """All close-ups on one sheet, each with its label; a marked place is shown twice, unmarked and marked."""
    tiles: list[Rgb] = []
    for close_up in close_ups:
        tiles.append(_labelled(close_up.label, close_up.picture))
        if close_up.marked is not None:
            tiles.append(_labelled(f"{close_up.label} (marked)", _marked(close_up.picture, close_up.marked)))
    if not tiles:
        tiles = [_labelled("nothing to show", np.full((60, 400, 3), 255, np.uint8))]
    gap = 12
    width = max(t.shape[1] for t in tiles)
    rows = [tiles[i : i + columns] for i in range(0, len(tiles), columns)]
    heights = [max(t.shape[0] for t in row) for row in rows]
    page = np.empty((sum(heights) + gap * (len(rows) + 1), (width + gap) * columns + gap, 3), np.uint8)
    page[:] = background
    y = gap
    for row, height in zip(rows, heights, strict=True):
        for i, tile in enumerate(row):
            x = gap + i * (width + gap)
            page[y : y + tile.shape[0], x : x + tile.shape[1]] = tile
        y += height + gap
    return page


def _labelled(label: str, picture: Rgb) -> Rgb:
    text = label.encode("ascii", "replace").decode()
    strip = np.empty((LABEL_ROWS, max(picture.shape[1], 9 * len(text) + 12), 3), np.uint8)
    strip[:] = (255, 255, 255)
    cv2.putText(strip, text, (6, 20), cv2.FONT_HERSHEY_SIMPLEX, 0.5, INK, 1, cv2.LINE_AA)
    out = np.full((LABEL_ROWS + picture.shape[0], strip.shape[1], 3), 255, np.uint8)
    out[:LABEL_ROWS] = strip
    out[LABEL_ROWS:, : picture.shape[1]] = picture
    return out


def _marked(picture: Rgb, place: tuple[int, int, int, int]) -> Rgb:
    """Corner ticks around the place, dark on light: the place itself stays uncovered."""
    out = picture.copy()
    x, y, width, height = place
    left, top = max(x - 4, 1), max(y - 4, 1)
    right, bottom = min(x + width + 4, picture.shape[1] - 2), min(y + height + 4, picture.shape[0] - 2)
    tick = max(8, min(right - left, bottom - top) // 5)
    for cx, sx in ((left, 1), (right, -1)):
        for cy, sy in ((top, 1), (bottom, -1)):
            for colour, thick in (((255, 255, 255), 4), ((20, 20, 20), 2)):
                cv2.line(out, (cx, cy), (cx + sx * tick, cy), colour, thick)
                cv2.line(out, (cx, cy), (cx, cy + sy * tick), colour, thick)
    return out


def _rgb(picture: Pixels) -> Rgb:
    if picture.ndim == 2:
        picture = picture[:, :, None]
    return np.ascontiguousarray(np.repeat(picture, 3, 2) if picture.shape[2] == 1 else picture[:, :, :3]).astype(
        np.uint8
    )
