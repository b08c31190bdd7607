"""The encoding readings: header facts as they are, depth through the bands, profiles sound and not."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scans import bands, bed_of, frame_of, make_scan
from surfaces import strokes

from dawnproof.measure.encoding import EncodingCheck
from dawnproof.measure.outline import whole_frame
from dawnproof.model import Frame, Reading

ICC = Path(__file__).parent.parent / "data" / "icc"


def read(pixels: npt.NDArray[np.unsignedinteger], frame: Frame | None = None) -> dict[str, Reading]:
    frame = frame or frame_of(pixels, 400.0, bed_of(pixels, 400.0))
    check = EncodingCheck(frame)
    for band in bands(pixels, 77):
        check.see(band)
    return {r.name: r for r in check.readings(whole_frame(frame.width_px, frame.height_px))}


def test_sound_scan() -> None:
    pixels = make_scan(strokes(300, 400, 1)).pixels
    found = read(pixels, replace(frame_of(pixels, 400.0, bed_of(pixels, 400.0)), compression="lzw"))
    assert {name: r.value for name, r in found.items()} == {
        "depth_declared": 16, "depth_true": 16, "channels": 3, "profile": None, "compression": "lzw",
    }  # fmt: skip
    assert found["profile"].why == "the file carries no profile"


def test_eight_bits_in_sixteen_and_declared_eight() -> None:
    eight = make_scan(strokes(300, 400, 2), depth_bits=8).pixels
    assert read(eight)["depth_true"].value == read(eight)["depth_declared"].value == 8
    found = read(eight.astype(np.uint16) * 257)
    assert (found["depth_declared"].value, found["depth_true"].value) == (16, 8)
    assert found["depth_true"].certain


def test_one_channel_of_full_depth_is_enough() -> None:
    pixels = make_scan(strokes(300, 400, 3)).pixels.copy()
    pixels[:, :, :2] = pixels[:, :, :2] >> 8 << 8
    assert read(pixels)["depth_true"].value == 16


def test_blank_scan_cannot_be_judged() -> None:
    reading = read(np.full((300, 400, 3), 40_000, np.uint16))["depth_true"]
    assert reading.value is None
    assert "too few tones" in reading.why


def test_profiles() -> None:
    pixels = make_scan(strokes(60, 80, 4)).pixels
    frame = frame_of(pixels, 400.0, bed_of(pixels, 400.0))
    sound = read(pixels, replace(frame, icc=(ICC / "ProPhoto-v4.icc").read_bytes()))["profile"]
    assert (sound.value, sound.why) == ("ROMM", "")
    broken = read(pixels, replace(frame, icc=(ICC / "bad.icc").read_bytes()))["profile"]
    assert broken.value is None
    assert "broken" in broken.why
    other = read(pixels, replace(frame, icc=(ICC / "Gray.icc").read_bytes()))["profile"]
    assert other.value is None
    assert "GRAY" in other.why


def test_grey_scan() -> None:
    pixels = make_scan(strokes(300, 400, 5)).pixels[:, :, :1].copy()
    found = read(pixels)
    assert (found["channels"].value, found["depth_true"].value) == (1, 16)
