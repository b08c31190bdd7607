"""A known line is found among places that do not belong to it."""

from __future__ import annotations

import numpy as np
import pytest

from dawnproof.measure.line_fit import robust_line


@pytest.mark.parametrize("strayed", [0.0, 0.1, 0.25])
def test_a_line_among_strays(strayed: float) -> None:
    rng = np.random.default_rng(6)
    x = np.linspace(-200, 200, 400)
    y = 3.5 + 0.012 * x + rng.normal(0, 0.2, x.size)
    y[rng.random(x.size) < strayed] += 5.0
    offset, slope, spread = robust_line(x, y)
    assert offset == pytest.approx(3.5, abs=0.06)
    assert slope == pytest.approx(0.012, abs=4e-4)
    assert spread == pytest.approx(0.2, rel=0.5)
