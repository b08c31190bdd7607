"""A band of rows of one scan, as every check sees it go by, and the words a check must speak."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar, Protocol

import cv2
import numpy as np
import numpy.typing as npt

from ..model import Frame, Reading

if TYPE_CHECKING:
    from .border import Outline

Pixels = npt.NDArray[Any]  # (rows, columns, channels), uint8 or uint16


class Band:
    """Rows `first_row` to `first_row + rows - 1` of a scan; `pixels` is (rows, columns, channels), channels 1 or 3,
    alpha left out, in native byte order. Derived images are made once and shared by the checks; do not write to any.
    """

    def __init__(self, first_row: int, pixels: Pixels) -> None:
        self.first_row = first_row
        self.pixels = pixels

    @property
    def rows(self) -> int:
        return int(self.pixels.shape[0])

    @cached_property
    def grey(self) -> Pixels:
        """(rows, columns), the type of the samples: weighted mean of the channels in the file's own encoding."""
        if self.pixels.shape[2] == 1:
            return self.pixels[:, :, 0]
        return np.asarray(cv2.cvtColor(self.pixels, cv2.COLOR_RGB2GRAY))


class Check(Protocol):
    """One look at a scan. Built with the Frame, shown every band once from top to bottom, then asked."""

    name: ClassVar[str]

    def __init__(self, frame: Frame) -> None: ...

    def see(self, band: Band) -> None:
        """Take what is needed of the band; keep no reference to it."""
        ...

    def readings(self, outline: Outline) -> Iterable[Reading]:
        """The readings, once all bands have been seen; `outline` is where the work lies."""
        ...
