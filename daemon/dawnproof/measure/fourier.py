"""The transforms of the checks. `scipy.fft` has them, but brings so much along that loading it takes a third of a
second of every child; with numpy the same ones are there already."""

from __future__ import annotations

from . import pocketfft

if pocketfft.works():
    from .pocketfft import irfft, irfft2, next_fast_len, rfft, rfft2
else:  # another numpy: slower to load, the same to the last bit
    from scipy.fft import irfft, irfft2, next_fast_len, rfft, rfft2  # type: ignore[no-redef]

__all__ = ["irfft", "irfft2", "next_fast_len", "rfft", "rfft2"]
