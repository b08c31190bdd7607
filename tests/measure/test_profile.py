"""Profile headers: real free profiles, deliberately broken ones, and single damaged fields."""

import struct
from pathlib import Path

import pytest

from dawnproof.measure.profile import describe, read_profile

ICC = Path(__file__).parent.parent / "data" / "icc"


def icc(name: str) -> bytes:
    return (ICC / name).read_bytes()


@pytest.mark.parametrize(
    ("name", "description", "device_class", "space", "connection", "version"),
    [
        ("compatibleWithAdobeRGB1998.icc", "Compatible with Adobe RGB (1998)", "mntr", "RGB", "XYZ", "2.2"),
        (
            "ProPhoto-v4.icc",
            "ROMM",
            "mntr",
            "RGB",
            "XYZ",
            "4.2",
        ),  # the description is a version 4 `mluc` text
        ("sRGB-v4.icc", "sRGB", "mntr", "RGB", "XYZ", "4.2"),
        ("Gray.icc", "Gray", "mntr", "GRAY", "XYZ", "2.3"),
        ("CGATS001Compat-v2-micro.icc", "uCMY", "scnr", "CMYK", "Lab", "2.1"),
    ],
)
def test_real_profiles_are_read(
    name: str, description: str, device_class: str, space: str, connection: str, version: str
) -> None:
    profile = read_profile(icc(name))
    assert profile.fault == ""
    assert (profile.description, profile.device_class) == (description, device_class)
    assert (profile.colour_space, profile.connection_space, profile.version) == (space, connection, version)


@pytest.mark.parametrize(("name", "reason"), [("bad.icc", "acsp"), ("toosmall.icc", "448 bytes, the file holds 158")])
def test_deliberately_broken_profiles_say_why(name: str, reason: str) -> None:
    assert reason in read_profile(icc(name)).fault


def test_zeroed_signature_is_broken() -> None:
    sound = bytearray(icc("sRGB-v4.icc"))
    sound[36] = 0
    assert "acsp" in read_profile(bytes(sound)).fault


def test_cut_or_padded_profile_is_broken() -> None:
    sound = icc("sRGB-v4.icc")
    assert "480" in read_profile(sound[:-1]).fault
    assert "480" in read_profile(sound + b"\0\0").fault
    assert "shorter than its header" in read_profile(sound[:100]).fault


def test_tags_outside_the_profile_are_broken() -> None:
    sound = bytearray(icc("sRGB-v4.icc"))
    struct.pack_into(">I", sound, 128 + 4 + 4, 2**31)
    assert "tag table" in read_profile(bytes(sound)).fault


def test_absurd_tag_count_is_broken() -> None:
    sound = bytearray(icc("sRGB-v4.icc"))
    struct.pack_into(">I", sound, 128, 0xFFFFFFFF)
    assert "tag table" in read_profile(bytes(sound)).fault


def test_description_of_pixels() -> None:
    assert describe(None, 3) == ("", "the file carries no profile")
    assert describe(b"", 3)[1] == "the file carries no profile"
    assert describe(icc("ProPhoto-v4.icc"), 3) == ("ROMM", "")
    assert describe(icc("Gray.icc"), 1) == ("Gray", "")
    assert "is for GRAY" in describe(icc("Gray.icc"), 3)[1]
    assert "is broken" in describe(icc("bad.icc"), 3)[1]


def test_control_characters_in_a_description_are_dropped() -> None:
    sound = icc("compatibleWithAdobeRGB1998.icc")
    hostile = sound.replace(b"Compatible with Adobe", b"Compatible\x1b[2JA\nAdobe")
    assert len(hostile) == len(sound)
    assert read_profile(hostile).description.startswith("Compatible[2JAAdobe")


def test_profile_without_a_transform_is_broken() -> None:
    hollow = bytearray(icc("sRGB-v4.icc"))
    place = hollow.find(b"gTRC", 128)
    hollow[place : place + 4] = b"none"
    assert "no transform" in read_profile(bytes(hollow)).fault
