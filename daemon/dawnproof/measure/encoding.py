"""How the scan is coded: bits declared and bits really used, channels, profile, compression."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

import numpy as np

from ..model import Frame, Reading
from .band import Band
from .depth import LEAST_PIXELS, proven_bits
from .outline import Outline
from .profile import describe

_SAMPLES = 4_000_000  # pixels whose values are counted, spread over the rows


class EncodingCheck:
    """Header facts, and a histogram of every n-th row of a 16-bit scan for the bits really used."""

    name: ClassVar[str] = "encoding"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._every = max(1, min(32, frame.width_px * frame.height_px // _SAMPLES))
        self._wide = frame.depth_bits == 16
        self._histogram = np.zeros((frame.channels, 65536 if self._wide else 0), np.int64)

    def see(self, band: Band) -> None:
        if not self._wide:
            return
        sample = band.pixels[-band.first_row % self._every :: self._every]
        for channel, histogram in enumerate(self._histogram):
            histogram += np.bincount(sample[:, :, channel].ravel(), minlength=65536)

    def readings(self, outline: Outline) -> Iterable[Reading]:
        frame = self._frame
        yield Reading("encoding", "depth_declared", float(frame.depth_bits), "bit")
        yield self._depth_true()
        yield Reading("encoding", "channels", float(frame.channels), "count")
        name, unusable = describe(frame.icc, frame.channels)
        yield Reading("encoding", "profile", None if unusable else name, "text", why=unusable)
        yield Reading("encoding", "compression", frame.compression, "text")

    def _depth_true(self) -> Reading:
        if not self._wide:
            return Reading("encoding", "depth_true", float(self._frame.depth_bits), "bit")
        bits = [proven_bits(histogram) for histogram in self._histogram]
        known = [b for b in bits if b is not None]
        if not known:
            why = f"fewer than {LEAST_PIXELS} pixels between the ends of the range, or too few tones, to tell"
            return Reading("encoding", "depth_true", None, "bit", sure=0.0, why=why)
        found = max(known)
        why = "" if found == 16 else f"the values in use are those of {found}-bit data"
        return Reading("encoding", "depth_true", float(found), "bit", sure=0.99, why=why)


CHECK = EncodingCheck
