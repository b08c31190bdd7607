"""Turns between the beds: a flood at one of them does not make another wait."""

from __future__ import annotations

from collections import deque
from pathlib import Path


class Turns:
    """Files that wait to be measured; one of a bed, then one of the next."""

    def __init__(self) -> None:
        self._files: dict[str, deque[Path]] = {}

    def __bool__(self) -> bool:
        return bool(self._files)

    def wait(self, bed: str, path: Path) -> None:
        """A file stands at the end of its bed's line."""
        self._files.setdefault(bed, deque()).append(path)

    def next(self) -> Path:
        """The file whose turn it is; there must be one."""
        bed = next(iter(self._files))
        files = self._files.pop(bed)
        path = files.popleft()
        if files:
            self._files[bed] = files  # whoever had a turn stands at the end of the line
        return path
