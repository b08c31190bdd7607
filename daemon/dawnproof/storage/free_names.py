"""Names that are still free in a folder: also where a disk takes two spellings for one."""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Collection
from pathlib import Path
from typing import Final

from .disk import failed

NAME_BYTES: Final = 255


def free_name(folder: Path, name: str, reserved: Collection[str] = ()) -> str:
    """`name`, or STEM~2.EXT, ~3 …: the first that stands neither in the folder nor among the reserved, also where
    upper and lower case or composed letters are the same; at most 255 bytes."""
    try:
        taken = {folded(entry) for entry in (*os.listdir(folder), *reserved)}  # noqa: PTH208 - names, not paths
    except OSError as error:
        raise failed("listing", folder, error) from error
    stem, suffix = _stem_and_suffix(name)
    number, candidate = 1, _short(stem, suffix)
    while folded(candidate) in taken:
        number += 1
        candidate = _short(stem, f"~{number}{suffix}")
    return candidate


def folded(name: str) -> str:
    """What two names have in common that some disk takes for one."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def _stem_and_suffix(name: str) -> tuple[str, str]:
    stem, dot, extension = name.rpartition(".")
    return (stem, dot + extension) if stem and len(extension) <= 8 else (name, "")


def _short(stem: str, suffix: str) -> str:
    while len(os.fsencode(stem + suffix)) > NAME_BYTES:
        stem = stem[:-1]
    return stem + suffix
