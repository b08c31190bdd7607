"""Textures that repeat and textures that do not."""

import numpy as np
import pytest
from bench.join_scene import ArraySource
from skimage import data

from dawnproof.assemble.parts import JoinPart
from dawnproof.assemble.repeat import repeat_of
from dawnproof.assemble.view import View

RANDOM = np.random.default_rng(6)


def shown(grey: np.ndarray) -> View:
    noisy = np.clip(grey + 0.004 * RANDOM.standard_normal(grey.shape), 0, 1)
    return View(JoinPart("a", "L", ArraySource(np.rint(noisy * 65535).astype(np.uint16)[:, :, None]), 300.0))


@pytest.mark.parametrize("period", [11.0, 24.5, 60.0])
def test_a_weave_tells_its_period(period: float) -> None:
    y, x = np.mgrid[0:400, 0:400] * (2 * np.pi / period)
    view = shown(0.5 + 0.1 * np.sin(x) * np.cos(y) + 0.05 * np.sin(2 * x + 1) + 0.05 * np.sin(y - 0.4))
    found, left = repeat_of(view, view, np.eye(2, 3), 1)
    assert left < 0.05
    assert found == pytest.approx(period, abs=2.5)


@pytest.mark.parametrize("texture", ["gravel", "grass"])
def test_grain_does_not_repeat(texture: str) -> None:
    view = shown(getattr(data, texture)()[:400, :400] / 255)
    assert repeat_of(view, view, np.eye(2, 3), 1)[1] > 0.35


def test_a_blank_sheet_has_no_repeat() -> None:
    view = View(JoinPart("a", "L", ArraySource(np.full((300, 300, 1), 40000, np.uint16)), 300.0))
    assert repeat_of(view, view, np.eye(2, 3), 1) == (0.0, 1.0)
