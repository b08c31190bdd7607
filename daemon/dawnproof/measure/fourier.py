"""The transforms of `scipy.fft`, loaded when the first is asked for: that takes a third of a second, in which other
checks can look at the first bands already."""

from __future__ import annotations

from typing import Any


def __getattr__(name: str) -> Any:
    from scipy import fft

    return getattr(fft, name)
