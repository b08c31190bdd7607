"""Smooth displacement: taken where it helps patches it has not seen, left where there is only noise."""

import numpy as np
import pytest

from dawnproof.assemble.bend import Bend, bend_of, trimmed_size

RANDOM = np.random.default_rng(9)
LOW, HIGH = np.array([-30.0, -40.0]), np.array([150.0, 940.0])
PLACES = RANDOM.uniform((0, 0), (120, 900), (180, 2))


def bent(places: np.ndarray) -> np.ndarray:
    return np.stack([4 * np.sin(places[:, 1] / 150), 3 * np.cos(places[:, 1] / 170 + 1) + places[:, 0] / 100], axis=1)


def found(wanted: np.ndarray) -> Bend | None:
    return bend_of(PLACES, wanted, LOW, HIGH)


def test_a_smooth_bend_is_recovered() -> None:
    bend = found(bent(PLACES) + 0.05 * RANDOM.standard_normal((180, 2)))
    assert bend is not None
    inside = RANDOM.uniform((5, 20), (115, 880), (300, 2))
    assert trimmed_size(bend.at(inside) - bent(inside)) < 0.08


def test_it_carries_on_straight_to_the_rim() -> None:
    bend = found(bent(PLACES))
    assert bend is not None
    rim = np.array([[60.0, 935.0], [60.0, -35.0], [145.0, 450.0]])
    assert np.linalg.norm(bend.at(rim) - bent(rim), axis=1).max() < 0.5


def test_slopes_are_those_of_the_displacement() -> None:
    bend = found(bent(PLACES))
    assert bend is not None
    places = RANDOM.uniform((5, 20), (115, 880), (40, 2))
    for axis in (0, 1):
        step = np.eye(2)[axis]
        difference = (bend.at(places + step) - bend.at(places - step)) / 2
        assert bend.slopes(places)[:, :, axis] == pytest.approx(difference, abs=1e-4)


def test_noise_alone_takes_no_correction() -> None:
    assert found(0.1 * RANDOM.standard_normal((180, 2))) is None


def test_too_few_patches_take_none() -> None:
    assert bend_of(PLACES[:12], bent(PLACES[:12]), LOW, HIGH) is None


def test_a_wild_patch_does_not_dent_the_field() -> None:
    wanted = bent(PLACES)
    wanted[50] += 30.0
    bend = found(wanted)
    assert bend is not None
    assert np.linalg.norm(bend.at(PLACES[50:51]) - bent(PLACES[50:51])) < 1.0
