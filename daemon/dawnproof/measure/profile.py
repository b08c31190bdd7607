"""What an embedded ICC profile says of itself in header and description, and whether it can be used.

Layout: ISO 15076-1 (ICC.1): header of 128 bytes, tag table, `desc` (version 2) and `mluc` (version 4) texts.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

_HEADER_BYTES = 128
_CLASSES = {"scnr", "mntr", "prtr", "spac", "link", "abst", "nmcl"}
_CHANNELS = {"RGB": 3, "GRAY": 1, "CMYK": 4, "Lab": 3}
_CURVES = {"RGB": ("rXYZ", "gXYZ", "bXYZ", "rTRC", "gTRC", "bTRC"), "GRAY": ("kTRC",)}
_TABLES = ("A2B0", "A2B1")
_LARGEST_TAG_COUNT = 256  # real profiles hold 9 to 60 tags


@dataclass(frozen=True, slots=True)
class Profile:
    """An ICC profile as its header states it. `fault` is empty when it can be used, else says why not."""

    description: str
    device_class: str  # scnr input, mntr display, prtr output, spac space, ...
    colour_space: str  # RGB, GRAY, CMYK, ...
    connection_space: str  # XYZ or Lab
    version: str
    fault: str = ""

    def fits(self, channels: int) -> bool:
        """Whether the profile is meant for pixels of so many colour channels."""
        return _CHANNELS.get(self.colour_space) == channels


def read_profile(icc: bytes) -> Profile:
    """Header and description of the profile; never raises: what is wrong stands in `fault`."""
    if len(icc) < _HEADER_BYTES + 4:
        return Profile("", "", "", "", "", f"profile of {len(icc)} bytes is shorter than its header")
    device_class, colour_space, connection_space = (_word(icc, place) for place in (12, 16, 20))
    version = f"{icc[8]}.{icc[9] >> 4}"
    fault = _header_fault(icc, device_class, colour_space)
    tags = {} if fault else _tags(icc)
    description = _description(tags.get("desc", b""))
    if not fault:
        fault = _tag_fault(tags, colour_space)
    return Profile(description, device_class, colour_space, connection_space, version, fault)


def describe(icc: bytes | None, channels: int) -> tuple[str, str]:
    """The profile's name, and why it cannot be used for pixels of so many channels ("" when it can).

    A sound profile without a description is called by its colour space.
    """
    if not icc:
        return "", "the file carries no profile"
    profile = read_profile(icc)
    if profile.fault:
        return profile.description, f"the profile is broken: {profile.fault}"
    name = profile.description or f"unnamed {profile.colour_space} profile"
    if not profile.fits(channels):
        return name, f"the profile is for {profile.colour_space}, the image has {channels} channel(s)"
    return name, ""


def _word(icc: bytes, place: int) -> str:
    return icc[place : place + 4].decode("latin-1").strip(" \0")


def _header_fault(icc: bytes, device_class: str, colour_space: str) -> str:
    (size,) = struct.unpack_from(">I", icc, 0)
    if icc[36:40] != b"acsp":
        return "the signature 'acsp' is missing"
    if size != len(icc):
        return f"its header says {size} bytes, the file holds {len(icc)}"
    if device_class not in _CLASSES:
        return f"unknown class {device_class!r}"
    if colour_space not in _CHANNELS:
        return f"unknown colour space {colour_space!r}"
    return ""


def _tag_fault(tags: dict[str, bytes], colour_space: str) -> str:
    # the colour library replaces a profile without a transform by sRGB and says nothing, so it is found here
    if not tags:
        return "its tag table points outside the profile"
    curves = _CURVES.get(colour_space)
    if not any(table in tags for table in _TABLES) and not (curves and all(name in tags for name in curves)):
        return "it holds no transform to the connection space"
    return ""


def _tags(icc: bytes) -> dict[str, bytes]:
    """Tag name to tag data; empty when the table or any tag does not lie inside the profile."""
    (count,) = struct.unpack_from(">I", icc, _HEADER_BYTES)
    if not 0 < count <= _LARGEST_TAG_COUNT or _HEADER_BYTES + 4 + 12 * count > len(icc):
        return {}
    tags: dict[str, bytes] = {}
    for number in range(count):
        name, offset, size = struct.unpack_from(">4sII", icc, _HEADER_BYTES + 4 + 12 * number)
        if offset < _HEADER_BYTES or offset + size > len(icc):
            return {}
        tags[name.decode("latin-1")] = icc[offset : offset + size]
    return tags


def _description(tag: bytes) -> str:
    if tag[:4] == b"desc" and len(tag) >= 12:
        (length,) = struct.unpack_from(">I", tag, 8)
        text = tag[12 : 12 + length].decode("latin-1")
    elif tag[:4] == b"mluc" and len(tag) >= 28:
        length, offset = struct.unpack_from(">II", tag, 20)
        text = tag[offset : offset + length].decode("utf-16-be", errors="replace")
    else:
        return ""
    return "".join(sign for sign in text if sign.isprintable()).strip()
