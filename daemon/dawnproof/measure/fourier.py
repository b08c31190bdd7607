"""The transforms of `scipy.fft`, loaded when the first is asked for: that takes a third of a second, in which other
checks can look at the first bands already."""

from __future__ import annotations

from typing import Any

NAMES = frozenset({"irfft", "irfft2", "next_fast_len", "rfft", "rfft2"})


def __getattr__(name: str) -> Any:
    if name not in NAMES:  # every module of this package is asked whether it is a check: that must load nothing
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from scipy import fft

    return getattr(fft, name)
