"""Proof pictures: a master made small or a piece of it at 1:1, in sRGB through the embedded profile (relative
colorimetric with black point compensation), sharpened for the screen where it was made small."""

from __future__ import annotations

import struct
from functools import cache
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pyvips

from ..measure.profile import describe

Pixels = npt.NDArray[Any]
Rgb = npt.NDArray[np.uint8]  # (rows, columns, 3), sRGB


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
    are, which `colour_words` says."""
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    deep = pixels.dtype == np.uint16
    image = image.copy(
        interpretation=("rgb16" if deep else "srgb") if pixels.shape[2] == 3 else ("grey16" if deep else "b-w")
    )
    if is_usable(icc, pixels.shape[2]):
        image = image.copy()
        kind: Any = pyvips.GValue.blob_type
        profile: Any = icc  # the stubs know no bytes
        image.set_type(kind, "icc-profile-data", profile)
        converted = image.icc_transform("srgb", embedded=True, intent="relative", black_point_compensation=True,
                                         depth=8)  # fmt: skip
        return _rgb(converted.numpy())
    plain = pixels if not deep else (pixels >> 8).astype(np.uint8)
    return _rgb(plain)


def is_usable(icc: bytes | None, channels: int) -> bool:
    """Whether pixels of so many channels can be shown through the profile: libvips would take the numbers for sRGB
    without a word where they cannot."""
    if not icc or describe(icc, channels)[1]:
        return False
    one: Any = pyvips.Image.black(1, 1, bands=channels).copy(interpretation="srgb" if channels == 3 else "b-w")
    kind: Any = pyvips.GValue.blob_type
    profile: Any = icc
    one.set_type(kind, "icc-profile-data", profile)
    try:
        one.icc_transform("srgb", embedded=True, intent="relative").avg()
    except pyvips.Error:  # a broken profile is a finding of its own; the proof is shown without it
        return False
    return True


def colour_words(icc: bytes | None, channels: int) -> str:
    """How the colours of a proof came about."""
    if is_usable(icc, channels):
        return "sRGB through the embedded profile, relative colorimetric with black point compensation"
    return "no usable profile in the scan: its values are shown as if they were sRGB"


def sharpened(picture: Rgb) -> Rgb:
    """Output sharpening for the screen: what shrinking took from the edges."""
    soft = cv2.GaussianBlur(picture, (0, 0), 1.0)
    return np.asarray(cv2.addWeighted(picture, 1.75, soft, -0.75, 0), np.uint8)


def jpeg(picture: Rgb, words: str = "", quality: int = 90) -> bytes:
    """JPEG bytes of an sRGB picture, with the sRGB profile embedded and `words` as its comment."""
    done, data = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError("the proof could not be encoded")
    plain = bytes(data)
    segments = _segment(0xE2, b"ICC_PROFILE\0\x01\x01" + _srgb_profile())  # ICC.1, annex B.4: one of one
    segments += _segment(0xFE, words.encode("ascii", "replace")) if words else b""
    head = 4 + int.from_bytes(plain[4:6], "big")  # after the start and the first segment, which names the format
    return plain[:head] + segments + plain[head:]


def _segment(marker: int, content: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(content) + 2) + content


@cache
def _srgb_profile() -> bytes:
    """The profile libvips converts to."""
    call: Any = pyvips.Operation.call
    return bytes(call("profile_load", "srgb"))


def _rgb(picture: Pixels) -> Rgb:
    if picture.ndim == 2:
        picture = picture[:, :, None]
    return np.ascontiguousarray(np.repeat(picture, 3, 2) if picture.shape[2] == 1 else picture[:, :, :3]).astype(
        np.uint8
    )
