"""A surface under light from another side: told by its relief alone, where the pigment tells nothing."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage

from dawnproof.assemble.relit import turns_of_light

SIDE, STEP = 520, 400
Grey = npt.NDArray[np.float32]


def surface(seed: int) -> Grey:
    random = np.random.default_rng(seed)
    return np.asarray(ndimage.gaussian_filter(random.standard_normal((SIDE, SIDE + STEP)), 1.6), np.float32)


def seen(height: Grey, turns: int, random: np.random.Generator) -> Grey:
    """A part as it is scanned when it lies turned clockwise by quarters: always lit from the top of the frame."""
    turned = np.rot90(height, -turns)
    slope = np.gradient(turned)[0]
    noisy = slope + 0.1 * slope.std() * random.standard_normal(slope.shape)
    return np.asarray(noisy / noisy.std(), np.float32)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("turns", [1, 2, 3])
def test_the_turn_is_told_from_a_quarter_of_overlap(turns: int, seed: int) -> None:
    height, random = surface(seed), np.random.default_rng(seed + 50)
    assert turns_of_light(seen(height[:, :SIDE], 0, random), seen(height[:, STEP:], turns, random)) == turns


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_what_does_not_belong_together_is_no_turned_part(turns: int) -> None:
    random = np.random.default_rng(7)
    assert turns_of_light(seen(surface(3)[:, :SIDE], 0, random), seen(surface(4)[:, STEP:], turns, random)) == 0


def test_parts_the_same_way_up_are_not_turned() -> None:
    height, random = surface(5), np.random.default_rng(8)
    assert turns_of_light(seen(height[:, :SIDE], 0, random), seen(height[:, STEP:], 0, random)) == 0


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_what_is_painted_is_not_lit(turns: int) -> None:
    picture, random = surface(6), np.random.default_rng(9)
    parts = [picture[:, :SIDE], np.rot90(picture[:, STEP:], -turns)]
    noisy = [part / part.std() + 0.1 * random.standard_normal(part.shape) for part in parts]
    assert turns_of_light(*(np.asarray(part, np.float32) for part in noisy)) == 0
