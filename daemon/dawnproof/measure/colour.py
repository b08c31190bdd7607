"""Colours as a person sees them: pixels through their profile to CIE Lab (D50), and CIEDE2000 between two."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pyvips

from .profile import describe

Lab = npt.NDArray[np.float64]

_SEVEN_25 = 25.0**7


def assumed_profile(icc: bytes | None, channels: int) -> str:
    """What had to be assumed to give these pixels a colour; empty when their own profile was used."""
    why = describe(icc, channels)[1]
    return f"{why}: sRGB assumed" if why else ""


def to_lab(colours: npt.NDArray[Any], icc: bytes | None) -> Lab:
    """CIE Lab (D50, relative colorimetric) of `colours`, (n, 3) or grey (n, 1), uint8 or uint16, as (n, 3).

    Without a usable profile sRGB is assumed; `assumed_profile` says so and why. a and b end at -128 and 127,
    as the encoding of the profile connection space does. Meant for a few thousand colours.
    """
    channels = colours.shape[1]
    if describe(icc, channels)[1]:
        return _import(np.broadcast_to(colours, (len(colours), 3)), None)
    return _import(colours, icc)


def delta_e_2000(lab1: npt.ArrayLike, lab2: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """CIEDE2000 between rows of two (n, 3) arrays of Lab, as (n,); kL = kC = kH = 1.

    Source: Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula", Color Res. Appl. 30 (2005) 21-30.
    """
    l1, a1, b1 = np.moveaxis(np.asarray(lab1, np.float64), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(lab2, np.float64), -1, 0)
    mean_chroma = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    stretch = 1.5 - 0.5 * np.sqrt(mean_chroma**7 / (mean_chroma**7 + _SEVEN_25))
    chroma1, chroma2 = np.hypot(a1 * stretch, b1), np.hypot(a2 * stretch, b2)
    hue1, hue2 = _hue_deg(a1 * stretch, b1), _hue_deg(a2 * stretch, b2)
    coloured = chroma1 * chroma2 > 0
    turn = np.where(coloured, (hue2 - hue1 + 180) % 360 - 180, 0.0)
    # the formula keeps a difference of exactly +180 degrees; the modulus above turns it to -180
    turn = np.where(coloured & (hue2 - hue1 == 180), 180.0, turn)
    hue_term = 2 * np.sqrt(chroma1 * chroma2) * np.sin(np.radians(turn / 2))
    mean_hue = np.where(coloured, _mean_hue_deg(hue1, hue2), hue1 + hue2)
    return _combine((l2 - l1, chroma2 - chroma1, hue_term), ((l1 + l2) / 2, (chroma1 + chroma2) / 2, mean_hue))


def _combine(
    difference: tuple[npt.NDArray[np.float64], ...], mean: tuple[npt.NDArray[np.float64], ...]
) -> npt.NDArray[np.float64]:
    """Differences in lightness, chroma and hue, weighted by place in colour space (equations 15-22)."""
    lightness, chroma, hue = mean
    tint = (
        1
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    turning = 60 * np.exp(-(((hue - 275) / 25) ** 2))
    rotation = -2 * np.sqrt(chroma**7 / (chroma**7 + _SEVEN_25)) * np.sin(np.radians(turning))
    weight_l = 1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2)
    d_l = difference[0] / weight_l
    d_c = difference[1] / (1 + 0.045 * chroma)
    d_h = difference[2] / (1 + 0.015 * chroma * tint)
    return np.asarray(np.sqrt(np.maximum(d_l**2 + d_c**2 + d_h**2 + rotation * d_c * d_h, 0.0)))


def _hue_deg(a: npt.NDArray[np.float64], b: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.asarray(np.degrees(np.arctan2(b, a)) % 360)


def _mean_hue_deg(hue1: npt.NDArray[np.float64], hue2: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    total = hue1 + hue2
    far = np.abs(hue1 - hue2) > 180
    return np.asarray(np.where(~far, total, np.where(total < 360, total + 360, total - 360)) / 2)


def _import(colours: npt.NDArray[Any], icc: bytes | None) -> Lab:
    pixels = np.ascontiguousarray(colours)[None]
    image = pyvips.Image.new_from_array(pixels)
    wide = pixels.dtype == np.uint16
    grey = pixels.shape[2] == 1
    kind = ("grey16" if wide else "b-w") if grey else ("rgb16" if wide else "srgb")
    image = image.copy(interpretation=kind)
    if icc is None:
        lab = image.icc_import(input_profile="srgb", pcs="lab", intent="relative")
    else:
        image.set_type(pyvips.GValue.blob_type, "icc-profile-data", icc)  # type: ignore[arg-type]
        lab = image.icc_import(embedded=True, pcs="lab", intent="relative")
    return np.asarray(lab.numpy(), np.float64).reshape(-1, 3)
