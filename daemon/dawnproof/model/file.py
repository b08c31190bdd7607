"""A file as the system knows it, and its name as it may be shown."""

from __future__ import annotations

import os
import unicodedata
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Identity:
    """Which file this is and in which state (stat, links not followed): any write, replacement or rename changes it."""

    dev: int
    ino: int
    size: int
    mtime_ns: int
    ctime_ns: int

    @classmethod
    def of(cls, state: os.stat_result) -> Identity:
        return cls(state.st_dev, state.st_ino, state.st_size, state.st_mtime_ns, state.st_ctime_ns)


def shown(name: str | bytes) -> str:
    """A file name made safe for terminal, log, page and mail: whatever could steer them (controls, escapes, line and
    paragraph ends, bidi marks, private and unassigned characters, bytes that are no UTF-8) is written out as \\xNN,
    \\uNNNN or \\UNNNNNNNN; all else stays as it is. For showing only: the raw name is kept beside it."""
    text = name.decode("utf-8", "surrogateescape") if isinstance(name, bytes) else name
    return "".join(_visible(character) for character in text)


def _visible(character: str) -> str:
    category, code = unicodedata.category(character), ord(character)
    if category[0] != "C" and category not in ("Zl", "Zp"):
        return character
    if 0xDC80 <= code <= 0xDCFF:  # a byte that was no UTF-8, as surrogateescape carries it
        return f"\\x{code - 0xDC00:02x}"
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
