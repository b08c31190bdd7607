"""The tone curve of a profile: encoded values to linear light and back (ICC.1:2022, 10.6 and 10.18)."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

ASSUMED_GAMMA = 2.2
_TAGS = (b"rTRC", b"gTRC", b"bTRC", b"kTRC")
_PARAMETERS = {0: "g", 1: "gab", 2: "gabc", 3: "gabcd", 4: "gabcdef"}


@dataclass(frozen=True)
class ToneCurve:
    """Encoded to linear, both 0..1, as a rising table over equal steps; `assumed` when no profile gave it."""

    table: Floats
    assumed: bool

    def linear(self, encoded: npt.NDArray[Any]) -> Floats:
        """Linear light of encoded values 0..1."""
        steps = np.linspace(0.0, 1.0, len(self.table))
        return np.asarray(np.interp(encoded, steps, self.table))

    def encoded(self, linear: npt.NDArray[Any]) -> Floats:
        """Encoded values 0..1 of linear light; what lies above 1 is cut."""
        steps = np.linspace(0.0, 1.0, len(self.table))
        rising, first = np.unique(self.table, return_index=True)
        return np.asarray(np.interp(linear, rising, steps[first]))


def tone_curve(icc: bytes | None) -> ToneCurve:
    """The curve of a matrix or grey profile (its green one where they differ); gamma 2.2, marked as assumed, where
    there is none or it holds only tables between colour spaces."""
    steps = np.linspace(0.0, 1.0, 4097)
    found = _curve_tag(icc) if icc else None
    values = _evaluate(found, steps) if found else None
    if values is None or not _rises(values):
        return ToneCurve(steps**ASSUMED_GAMMA, assumed=True)
    return ToneCurve(np.maximum.accumulate(np.clip(values, 0.0, 1.0)), assumed=False)


def _rises(values: Floats) -> bool:
    return bool(np.all(np.isfinite(values)) and values[-1] > values[0] + 0.5)


def _curve_tag(icc: bytes) -> bytes | None:
    """Bytes of the green, else grey, else any tone curve tag."""
    if len(icc) < 132 or icc[36:40] != b"acsp":
        return None
    count = min(struct.unpack(">I", icc[128:132])[0], 200)
    found: dict[bytes, bytes] = {}
    for at in range(132, min(132 + 12 * count, len(icc) - 11), 12):
        tag, offset, size = struct.unpack(">4sII", icc[at : at + 12])
        if tag in _TAGS and offset + size <= len(icc):
            found[tag] = icc[offset : offset + size]
    return found.get(b"gTRC") or found.get(b"kTRC") or next(iter(found.values()), None)


def _evaluate(tag: bytes, x: Floats) -> Floats | None:
    if len(tag) < 12:
        return None
    if tag[:4] == b"curv":
        return _curv(tag, x)
    if tag[:4] == b"para":
        return _para(tag, x)
    return None


def _curv(tag: bytes, x: Floats) -> Floats | None:
    count = struct.unpack(">I", tag[8:12])[0]
    if len(tag) < 12 + 2 * count:
        return None
    values = np.frombuffer(tag, ">u2", count, 12).astype(np.float64)
    if count == 0:
        return x.copy()
    if count == 1:
        return np.asarray(x ** (values[0] / 256.0))
    return np.asarray(np.interp(x, np.linspace(0.0, 1.0, count), values / 65535.0))


def _para(tag: bytes, x: Floats) -> Floats | None:
    kind = struct.unpack(">H", tag[8:10])[0]
    names = _PARAMETERS.get(kind)
    if names is None or len(tag) < 12 + 4 * len(names):
        return None
    numbers = struct.unpack(f">{len(names)}i", tag[12 : 12 + 4 * len(names)])
    p = dict.fromkeys("gabcdef", 0.0) | {"a": 1.0} | {n: v / 65536.0 for n, v in zip(names, numbers, strict=True)}
    power = np.maximum(p["a"] * x + p["b"], 0.0) ** p["g"]
    if kind == 0:
        return np.asarray(x ** p["g"])
    if kind in (1, 2):
        if p["a"] == 0.0:
            return None
        return np.asarray(np.where(x >= -p["b"] / p["a"], power, 0.0) + p["c"])
    return np.asarray(np.where(x >= p["d"], power + p["e"], p["c"] * x + p["f"]))
