"""What the gate of the inbox asks about a file that has settled: is it whole, and was all of it ever written?"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from pathlib import Path

from .disk import open_regular
from .tiff_page import Facts, read_facts
from .tiff_structure import read_structure


def check_structure(path: Path) -> Facts:
    """The facts of a scan whose every directory, tag and chunk lies in the file. Raises NotWhole, NotAScan, OSError."""
    fd = open_regular(path)
    try:
        return read_facts(fd, os.fstat(fd).st_size)
    finally:
        os.close(fd)


def bytes_in_holes(path: Path) -> int:
    """Bytes of strips or tiles that the file system says were never written (reserved by ftruncate or fallocate and
    not filled yet). Holes between them are no matter. 0 also where a file system does not tell.

    A suspicion, not a proof: copying sparsely makes holes of real zeros. Expects a file of proven structure.
    """
    fd = open_regular(path)
    try:
        size = os.fstat(fd).st_size
        holes = list(_holes(fd, size))
        if not holes:
            return 0
        empty = 0
        for chunks in read_structure(fd, size).chunks.values():
            for offset, count in zip(chunks.offsets, chunks.counts, strict=True):
                empty += sum(max(0, min(end, offset + count) - max(start, offset)) for start, end in holes)
        return empty
    finally:
        os.close(fd)


def _holes(fd: int, size: int) -> Iterator[tuple[int, int]]:
    """Start and end of every hole, the first thousand at most."""
    at, start = 0, size
    for _ in range(1000):
        try:
            start = os.lseek(fd, at, os.SEEK_HOLE)
            if start >= size:
                return
            at = os.lseek(fd, start, os.SEEK_DATA)
        except OSError as error:
            if error.errno == errno.ENXIO and start < size:  # no data behind the last hole
                yield start, size
            return
        yield start, at
