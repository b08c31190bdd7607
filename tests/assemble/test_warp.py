"""The smooth correction: taken where it helps patches it has not seen, left where there is only noise."""

import numpy as np
import pytest

from dawnproof.assemble.warp import bent_at, smooth_field

RANDOM = np.random.default_rng(9)
PLACES = RANDOM.uniform((0, 0), (120, 900), (180, 2))


def bend(places: np.ndarray) -> np.ndarray:
    return np.stack([4 * np.sin(places[:, 1] / 150), 3 * np.cos(places[:, 1] / 170 + 1) + places[:, 0] / 100], axis=1)


def test_a_smooth_bend_is_recovered() -> None:
    field = smooth_field(PLACES, bend(PLACES) + 0.05 * RANDOM.standard_normal((180, 2)), 200.0)
    assert field is not None
    inside = RANDOM.uniform((5, 20), (115, 880), (300, 2))
    left = np.linalg.norm(bent_at((field,), inside) - bend(inside), axis=1)
    assert np.sqrt((left**2).mean()) < 0.15


def test_noise_alone_takes_no_correction() -> None:
    assert smooth_field(PLACES, 0.1 * RANDOM.standard_normal((180, 2)), 200.0) is None


def test_too_few_patches_take_none() -> None:
    assert smooth_field(PLACES[:12], bend(PLACES[:12]), 200.0) is None


def test_a_wild_patch_does_not_dent_the_field() -> None:
    wanted = bend(PLACES)
    wanted[50] += 30.0
    field = smooth_field(PLACES, wanted, 200.0)
    assert field is not None
    assert np.linalg.norm(bent_at((field,), PLACES[50:51]) - bend(PLACES[50:51])) < 1.0


def test_it_fades_to_nothing_beyond_its_reach() -> None:
    field = smooth_field(PLACES, bend(PLACES), 100.0)
    assert field is not None
    beyond = np.array([[300.0, 400.0], [-200.0, 400.0], [60.0, 1200.0]])
    assert np.abs(bent_at((field,), beyond)).max() == pytest.approx(0.0, abs=1e-9)
