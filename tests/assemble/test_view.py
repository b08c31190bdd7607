"""Turned and reduced looks at a part."""

import numpy as np
import pytest
from bench.join_scene import ArraySource

from dawnproof.assemble.parts import JoinPart
from dawnproof.assemble.view import View, apply, at_full, at_level, compose, inverse
from dawnproof.model import Box

PIXELS = np.random.default_rng(1).integers(0, 65535, (60, 90, 3), dtype=np.uint16)
PART = JoinPart("a", "L", ArraySource(PIXELS), 300.0, box=Box(10, 5, 70, 40))


@pytest.mark.parametrize("turns", range(4))
def test_a_turned_view_shows_the_part_turned(turns: int) -> None:
    view = View(PART, turns)
    whole = np.rot90(PIXELS, turns)
    assert (view.height, view.width) == whole.shape[:2]
    assert np.array_equal(view.pixels(7, 9, 30, 20), whole[9:29, 7:37])
    x, y = apply(view.to_part, np.array([[7.0, 9.0]]))[0]
    assert np.array_equal(PIXELS[int(y), int(x)], whole[9, 7])
    box = view.work
    mask = np.zeros((60, 90), bool)
    mask[5:45, 10:80] = True
    turned = np.rot90(mask, turns)
    assert turned[box.y : box.bottom, box.x : box.right].all()
    assert turned.sum() == box.width * box.height


def test_overview_is_the_mean_of_blocks() -> None:
    blocks = PIXELS.reshape(20, 3, 30, 3, 3).mean(axis=(1, 3, 4)) / 65535
    assert View(PART).overview(3) == pytest.approx(blocks, abs=1e-5)


def test_maps_between_levels() -> None:
    matrix = np.array([[0.99, -0.02, 30.0], [0.02, 0.99, -7.0]])
    small = at_level(matrix, 4)
    # the middle of the first 4 x 4 block is full pixel 1.5
    assert apply(small, np.array([[0.0, 0.0]])) * 4 + 1.5 == pytest.approx(apply(matrix, np.array([[1.5, 1.5]])))
    assert at_full(small, 4) == pytest.approx(matrix)


def test_there_and_back() -> None:
    matrix = np.array([[0.99, -0.02, 30.0], [0.02, 0.99, -7.0]])
    assert compose(inverse(matrix), matrix) == pytest.approx(np.eye(2, 3), abs=1e-12)
