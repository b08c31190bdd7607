"""The transforms are loaded by the first that is asked for, and not by what only looks for checks."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import scipy.fft

from dawnproof.measure import fourier

DAEMON = Path(__file__).resolve().parents[2] / "daemon"


def loaded_after(statement: str) -> bool:
    begin, end = "import sys; from dawnproof.measure import fourier, one_pass", "print('scipy.fft' in sys.modules)"
    environment = {**os.environ, "PYTHONPATH": str(DAEMON)}
    run = subprocess.run(
        [sys.executable, "-c", f"{begin}; {statement}; {end}"],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    return run.stdout.strip() == "True"


def test_looking_for_checks_loads_no_transforms() -> None:
    assert not loaded_after("one_pass.check_classes()")
    assert loaded_after("fourier.rfft")


def test_they_are_those_of_scipy() -> None:
    rows = np.random.default_rng(1).standard_normal((4, 12)).astype(np.float32)
    assert np.array_equal(fourier.irfft2(fourier.rfft2(rows), s=rows.shape), scipy.fft.irfft2(scipy.fft.rfft2(rows)))
    assert all(getattr(fourier, name) is getattr(scipy.fft, name) for name in fourier.NAMES)


def test_nothing_else_is_there() -> None:
    with pytest.raises(AttributeError, match="CHECK"):
        _ = fourier.CHECK
