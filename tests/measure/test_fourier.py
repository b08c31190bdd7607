"""The transforms of the checks are those of scipy.fft to the last bit, and cost no child the loading of it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import scipy.fft

from dawnproof.measure import fourier, pocketfft

DAEMON = Path(__file__).resolve().parents[2] / "daemon"

Values = npt.NDArray[Any]


@pytest.fixture(params=[np.float32, np.float64])
def planes(request: pytest.FixtureRequest) -> Values:
    values: Values = np.random.default_rng(1).standard_normal((3, 45, 62)).astype(request.param)
    return values


def same(ours: Values, theirs: Values) -> bool:
    return ours.dtype == theirs.dtype and np.array_equal(ours, theirs)


def printed_by(statement: str) -> str:
    environment = {**os.environ, "PYTHONPATH": str(DAEMON)}
    run = subprocess.run([sys.executable, "-c", statement], env=environment, capture_output=True, text=True, check=True)
    return run.stdout.strip()


def test_a_child_that_measures_loads_no_scipy() -> None:
    load = "import sys; from dawnproof.workers import measuring; from dawnproof.measure import fourier, one_pass"
    use = "one_pass.check_classes(); fourier.rfft([1.0, 2.0]); print('scipy' in sys.modules)"
    assert printed_by(f"{load}; {use}") == "False"


def test_the_checks_use_those_of_numpy() -> None:
    assert fourier.rfft is pocketfft.rfft


@pytest.mark.parametrize(
    "inner",
    [
        "None",
        "types.ModuleType('without them')",
        "types.SimpleNamespace(rfft_n_even=lambda values: values, rfft_n_odd=lambda values: values)",
    ],
)
def test_another_numpy_leaves_them_to_scipy_and_every_check_loads(inner: str) -> None:
    hide = f"import sys, types, numpy.fft, scipy.fft; sys.modules['numpy.fft._pocketfft_umath'] = {inner}"
    use = "from dawnproof.measure import fourier, one_pass; print(fourier.rfft is scipy.fft.rfft)"
    assert printed_by(f"{hide}; {use}; one_pass.check_classes()") == "True"


@pytest.mark.parametrize("count", [None, 31, 62, 63, 128])
@pytest.mark.parametrize("axis", [-1, 1])
def test_rows(planes: Values, count: int | None, axis: int) -> None:
    half = scipy.fft.rfft(planes, count, axis=axis)
    assert same(pocketfft.rfft(planes, count, axis=axis), half)
    length = count or planes.shape[axis]
    assert same(pocketfft.irfft(half, n=length, axis=axis), scipy.fft.irfft(half, n=length, axis=axis))


@pytest.mark.parametrize("count", [30, 61, 100])
def test_a_spectrum_of_another_length_or_without_phase(planes: Values, count: int) -> None:
    for half in (scipy.fft.rfft(planes), np.abs(scipy.fft.rfft(planes))):
        assert same(pocketfft.irfft(half, count), scipy.fft.irfft(half, count))


@pytest.mark.parametrize("size", [None, (45, 62), (50, 81), (40, 60), (48, 30)])
@pytest.mark.parametrize("axes", [(-2, -1), (1, 2)])
def test_planes(planes: Values, size: tuple[int, int] | None, axes: tuple[int, int]) -> None:
    spectrum = scipy.fft.rfft2(planes, size, axes=axes)
    assert same(pocketfft.rfft2(planes, size, axes=axes), spectrum)
    wanted = size or (45, 62)
    assert same(pocketfft.irfft2(spectrum, wanted, axes=axes), scipy.fft.irfft2(spectrum, wanted, axes=axes))


def test_what_lies_apart_in_memory_and_what_is_no_float(planes: Values) -> None:
    apart = planes[:, ::2, 1:]
    assert same(pocketfft.rfft2(apart), scipy.fft.rfft2(apart))
    counts = np.arange(12, dtype=np.int16)
    assert same(pocketfft.rfft(counts), scipy.fft.rfft(counts))


def test_what_is_given_stays_as_it_was(planes: Values) -> None:
    before, half = planes.copy(), scipy.fft.rfft2(planes)
    kept = half.copy()
    pocketfft.rfft2(planes)
    pocketfft.irfft2(half, (45, 62))
    assert np.array_equal(planes, before)
    assert np.array_equal(half, kept)


def test_lengths_that_are_fast() -> None:
    assert all(pocketfft.next_fast_len(n) == scipy.fft.next_fast_len(n, real=True) for n in range(1, 5000))
