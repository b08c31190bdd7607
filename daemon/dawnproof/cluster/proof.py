"""Do two computers see the same bytes under two names? Shown by size and digest of a block nobody could foresee."""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path, PurePosixPath

from .errand import Room, Sample

BLOCK_BYTES = 256 << 10
TOKEN = ".dawnproof-token"


def seen_from(path: str, paths: Mapping[str, str]) -> str:
    """Where the other computer finds this path; the longest folder of the mapping that holds it decides."""
    for here in sorted(paths, key=len, reverse=True):
        if PurePosixPath(path).is_relative_to(here):
            return str(PurePosixPath(paths[here]) / PurePosixPath(path).relative_to(here))
    return path


def sample_of(path: str) -> Sample:
    """Size and a block of this file, anywhere in it. OSError where it cannot be read."""
    with Path(path).open("rb") as file:
        size = os.fstat(file.fileno()).st_size
        offset = secrets.randbelow(max(1, size - BLOCK_BYTES + 1))
        return Sample(path, size, offset, BLOCK_BYTES, _digest_at(file.fileno(), offset, BLOCK_BYTES))


def seen_differently(sample: Sample) -> str:
    """Why what stands under the sample's path here is not the file that was sampled; '' where it is."""
    try:
        with Path(sample.path).open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            same = size == sample.size_bytes
            if same and _digest_at(file.fileno(), sample.offset, sample.length) == sample.sha256:
                return ""
    except OSError as error:
        return f"{sample.path} cannot be read there ({error.strerror}): is the store mounted, and [work.paths] right?"
    return f"{sample.path} is another file there: a wrong mount, or a wrong line in [work.paths]"


def open_room(path: Path, inner: Iterable[str]) -> Room:
    """Make a folder that another computer may write in, with a token by which it knows the folder."""
    path.mkdir()
    token = secrets.token_hex(16)
    (path / TOKEN).write_text(token, "ascii")
    return Room(str(path), token, tuple(inner))


def placed(room: Room, paths: Mapping[str, str]) -> Room:
    """The room as the other computer finds it."""
    return replace(room, path=seen_from(room.path, paths))


def no_such_room(room: Room) -> str:
    """Why the folder under this path is not the one that was made for the task; '' where it is."""
    try:
        if (Path(room.path) / TOKEN).read_text("ascii") == room.token:
            return ""
    except (OSError, UnicodeDecodeError):
        pass
    return f"{room.path} is not the studio's folder there: is the store mounted for writing, and [work.paths] right?"


def _digest_at(fd: int, offset: int, length: int) -> str:
    return hashlib.sha256(os.pread(fd, length, offset)).hexdigest()
