"""Transforms of real rows and planes, in the precision they come in, from the library that numpy carries.

`numpy.fft` itself makes doubles of single floats on the way forward, so its inner functions are called. They belong to
numpy alone and may go, or be called otherwise: `works` is asked first. Results are bit for bit those of `scipy.fft`,
which carries the same library and puts the scale in the same place.
"""

from __future__ import annotations

import importlib
from collections.abc import Sequence
from contextlib import suppress
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

_inner: Any = None
with suppress(ImportError):
    _inner = importlib.import_module("numpy.fft._pocketfft_umath")

Array = npt.NDArray[Any]


def works() -> bool:
    """Whether this numpy has the functions, and they take and give what they are asked for here."""
    plane = np.arange(12, dtype=np.float32).reshape(3, 4)
    try:
        again = (irfft(rfft(plane), 4), irfft2(rfft2(plane), plane.shape))
    except (AttributeError, TypeError, ValueError):
        return False
    return all(each.dtype == plane.dtype and np.allclose(each, plane, atol=1e-4) for each in again)


def rfft(values: npt.ArrayLike, n: int | None = None, axis: int = -1) -> Array:
    """Half the spectrum of `n` values along `axis`: cut, or filled up with zeros, where there are more or fewer."""
    real = np.asarray(values)
    real = real if real.dtype == np.float32 else real.astype(np.float64, copy=False)
    count = real.shape[axis] if n is None else n
    half = _empty(real.shape, {axis: count // 2 + 1}, np.result_type(real, 1j))
    whole = _inner.rfft_n_odd if count % 2 else _inner.rfft_n_even
    whole(real, real.dtype.type(1), out=half, axes=_along(axis))
    return half


def irfft(half: npt.ArrayLike, n: int, axis: int = -1) -> Array:
    """The `n` values along `axis` that have this half of a spectrum."""
    return _back(_complex(half), n, axis, 1 / n)


def rfft2(values: npt.ArrayLike, s: Sequence[int] | None = None, axes: tuple[int, int] = (-2, -1)) -> Array:
    """The spectrum over two axes, the second of them halved; `s`: sizes to cut or fill up to."""
    rows, columns = s or (None, None)
    half = rfft(values, columns, axes[1])
    return _across(_inner.fft, half, half.shape[axes[0]] if rows is None else rows, axes[0])


def irfft2(half: npt.ArrayLike, s: Sequence[int], axes: tuple[int, int] = (-2, -1)) -> Array:
    """The plane of the sizes `s` that has this spectrum."""
    rows, columns = s
    return _back(_across(_inner.ifft, _complex(half), rows, axes[0]), columns, axes[1], 1 / (rows * columns))


@cache
def next_fast_len(target: int, real: bool = True) -> int:
    """The least number from `target` on that has no prime factor above 5."""
    return next(number for number in range(target, 2 * target + 1) if _is_smooth(number))


def _is_smooth(number: int) -> bool:
    for prime in (2, 3, 5):
        while number % prime == 0:
            number //= prime
    return number == 1


def _complex(values: npt.ArrayLike) -> Array:
    spectrum = np.asarray(values)
    return spectrum.astype(np.result_type(spectrum, 1j), copy=False)


def _across(transform: Any, spectrum: Array, count: int, axis: int) -> Array:
    out = _empty(spectrum.shape, {axis: count}, spectrum.dtype)
    transform(spectrum, spectrum.real.dtype.type(1), out=out, axes=_along(axis))
    return out


def _back(spectrum: Array, count: int, axis: int, scale: float) -> Array:
    real = spectrum.real.dtype
    out = _empty(spectrum.shape, {axis: count}, real)
    _inner.irfft(spectrum, real.type(scale), out=out, axes=_along(axis))
    return out


def _along(axis: int) -> list[tuple[int, ...]]:
    return [(axis,), (), (axis,)]  # of the values, of the scale, of what comes out


def _empty(shape: tuple[int, ...], sizes: dict[int, int], dtype: Any) -> Array:
    wanted = list(shape)
    for axis, size in sizes.items():
        wanted[axis] = size
    return np.empty(wanted, dtype)
