"""Proofs show the colours the profile means, in sRGB, and say so; made small they are sharpened for the screen."""

from __future__ import annotations

import io
import struct
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from dawnproof.assemble.proof import Shrinker, colour_words, is_usable, jpeg, sharpened, to_srgb
from dawnproof.measure.profile import read_profile
from dawnproof.rehearsal.profile import scanner_profile

Array = npt.NDArray[Any]
BROKEN = ["bad.icc", "toosmall.icc", "Gray.icc", "CGATS001Compat-v2-micro.icc"]


def flat(value: tuple[float, float, float]) -> Array:
    return np.tile(np.round(np.array(value) * 65535).astype("u2"), (8, 8, 1))


def with_grey_black(icc: bytes, lowest: float) -> bytes:
    """The profile with curves that begin at `lowest`: its black is no deeper than that. Same length: a table of two
    values takes the place of the one number of a power (ICC.1, curveType)."""
    power = b"curv\0\0\0\0" + struct.pack(">IHxx", 1, 563)
    table = b"curv\0\0\0\0" + struct.pack(">IHH", 2, round(lowest * 65535), 65535)
    assert icc.count(power) == 3
    return icc.replace(power, table)


def test_the_colours_are_those_the_profile_means(test_data: Path) -> None:
    """Independent reference: colour-science's Adobe RGB (1998) to sRGB."""
    colour = pytest.importorskip("colour")
    icc = (test_data / "icc" / "compatibleWithAdobeRGB1998.icc").read_bytes()
    patches = np.random.default_rng(5).uniform(0.3, 0.7, (6, 6, 3))
    spaces = colour.RGB_COLOURSPACES
    wanted = colour.RGB_to_RGB(
        patches, spaces["Adobe RGB (1998)"], spaces["sRGB"], apply_cctf_decoding=True, apply_cctf_encoding=True
    )
    got = to_srgb(np.round(patches * 65535).astype("u2"), icc)
    assert np.abs(got - np.clip(wanted, 0, 1) * 255).max() < 1.5


def test_sixteen_bits_are_not_cut_to_eight_before_the_profile() -> None:
    ramp = np.tile(np.linspace(20000, 21000, 256).astype("u2")[None, :, None], (4, 1, 3))
    got = to_srgb(ramp, scanner_profile())[0, :, 1].astype(int)
    assert (np.diff(got) >= 0).all()


def test_relative_colorimetric_paper_white_becomes_white(test_data: Path) -> None:
    """D50 white of a wide space; an absolute rendering would be yellowish on an sRGB screen of D65."""
    icc = (test_data / "icc" / "ProPhoto-v4.icc").read_bytes()
    assert to_srgb(flat((1.0, 1.0, 1.0)), icc).min() >= 254


def test_black_point_compensation_the_blackest_becomes_black() -> None:
    """A space whose black is 2 % grey: without compensation it would come out near 39 of 255."""
    lifted = with_grey_black(scanner_profile(), 0.02)
    assert is_usable(lifted, 3)
    assert to_srgb(flat((0.0, 0.0, 0.0)), lifted).max() <= 2
    assert to_srgb(flat((1.0, 1.0, 1.0)), lifted).min() >= 253


def test_grey_keeps_its_tone_without_a_profile() -> None:
    got = to_srgb(np.full((6, 6, 1), 40000, "u2"), None)
    assert got.shape == (6, 6, 3)
    assert (got == 40000 >> 8).all()


@pytest.mark.parametrize("name", BROKEN)
def test_a_profile_that_cannot_be_applied_is_said_and_not_guessed(test_data: Path, name: str) -> None:
    icc = (test_data / "icc" / name).read_bytes()
    pixels = np.random.default_rng(1).integers(0, 65536, (6, 6, 3)).astype("u2")
    assert (to_srgb(pixels, icc) == pixels >> 8).all()
    assert "no usable profile" in colour_words(icc, 3)


def test_the_words_name_intent_and_black_point() -> None:
    words = colour_words(scanner_profile(), 3)
    assert "relative colorimetric" in words
    assert "black point compensation" in words


def test_the_file_says_by_itself_that_it_is_srgb_and_how_it_came_about() -> None:
    pyvips = pytest.importorskip("pyvips")
    data = jpeg(np.full((20, 30, 3), 128, "u1"), "sRGB through the embedded profile")
    image = pyvips.Image.new_from_buffer(data, "")
    assert (image.width, image.height) == (30, 20)
    profile = read_profile(image.get("icc-profile-data"))
    assert not profile.fault
    assert "sRGB" in profile.description
    assert b"\xff\xfe" + struct.pack(">H", 35) + b"sRGB through the embedded profile" in data
    assert io.BytesIO(data).read(2) == b"\xff\xd8"


def test_sharpening_steepens_an_edge_and_leaves_an_even_tone() -> None:
    step = np.full((64, 64, 3), 60, "u1")
    step[:, 32:] = 190
    soft = np.asarray(cv2.GaussianBlur(step, (0, 0), 1.0), np.uint8)
    sharp = sharpened(soft).astype(int)
    assert np.diff(sharp[:, :, 1], axis=1).max() > 1.2 * np.diff(soft[:, :, 1].astype(int), axis=1).max()
    assert np.abs(sharp[:, 4:24] - 60).max() <= 1


@pytest.mark.parametrize(("height", "width"), [(4000, 900), (900, 4000), (3001, 2999), (120, 80)])
def test_the_long_side_is_what_the_rule_book_says(height: int, width: int) -> None:
    shrunk = Shrinker(width, height, 600)
    picture = np.random.default_rng(2).integers(0, 65536, (height, width, 3)).astype("u2")
    for row in range(0, height, 100):
        shrunk.see(picture[row : row + 100])
    rows, columns, _ = shrunk.picture().shape
    assert max(rows, columns) == min(600, max(height, width))
    assert abs(rows / columns - height / width) < 0.02 * height / width
    assert shrunk.picture().dtype == np.uint16
