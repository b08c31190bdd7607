"""Robust similarity from matches, and the odds of agreement by chance."""

import numpy as np
import pytest

from dawnproof.assemble.fit import Matches, adrift, chance, consistent, left_over, robust_similarity, similarity

RANDOM = np.random.default_rng(11)
TRUE = np.array([[0.9998, -0.02, 300.0], [0.02, 0.9998, -4.0]])


def matches(count: int = 120, wild: float = 0.3, noise_px: float = 0.05) -> Matches:
    first = RANDOM.uniform(0, 500, (count, 2))
    second = first @ TRUE[:, :2].T + TRUE[:, 2] + noise_px * RANDOM.standard_normal((count, 2))
    bad = RANDOM.random(count) < wild
    second[bad] += RANDOM.uniform(-12, 12, (int(bad.sum()), 2))
    return Matches(first, second, np.tile(np.eye(2) * 400, (count, 1, 1)), np.ones(count), count)


def test_similarity_of_exact_points() -> None:
    given = matches(20, 0.0, 0.0)
    scale = np.hypot(TRUE[0, 0], TRUE[1, 0])
    found = similarity(given.first, given.second, np.ones(20))
    assert np.hypot(found[0, 0], found[1, 0]) == pytest.approx(scale)
    assert found == pytest.approx(TRUE, abs=1e-9)


def test_a_third_of_wild_matches_is_set_aside() -> None:
    given = matches()
    found, inside = robust_similarity(given, np.eye(2, 3), 2.0)
    assert found == pytest.approx(TRUE, abs=0.05)
    assert 0.6 < inside.mean() < 0.9


def test_smoothly_bent_matches_are_consistent_and_wild_ones_are_not() -> None:
    first = np.stack(np.meshgrid(np.arange(0, 500, 40.0), np.arange(0, 500, 40.0)), axis=-1).reshape(-1, 2)
    second = first @ TRUE[:, :2].T + TRUE[:, 2] + np.stack([4 * np.sin(first[:, 1] / 90), 0 * first[:, 0]], axis=1)
    second[::10] += 7.0
    given = Matches(first, second, np.tile(np.eye(2), (len(first), 1, 1)), np.ones(len(first)), len(first))
    found = consistent(left_over(TRUE, given), given, 1.5)
    assert not found[::10].any()
    assert found[np.arange(len(first)) % 10 != 0].mean() > 0.95


def test_chance_is_small_for_many_and_large_for_few() -> None:
    assert chance(60, 80, 1.5, 8.0) < -30
    assert chance(4, 80, 1.5, 8.0) > -1.5
    assert chance(0, 0, 1.5, 8.0) == pytest.approx(0.0)


def test_lost_patches_that_lie_together_are_adrift_scattered_ones_are_not() -> None:
    places = np.stack(np.meshgrid(np.arange(0, 200, 40.0), np.arange(0, 800, 40.0)), axis=-1).reshape(-1, 2)
    given = Matches(places, places, np.tile(np.eye(2), (len(places), 1, 1)), np.ones(len(places)), len(places))
    assert len(adrift(given.keep(np.arange(len(places)) % 7 != 0))) == 0
    torn = given.keep(places[:, 1] < 600)
    found = adrift(torn)
    assert len(found) >= 15
    assert found[:, 1].min() >= 600


def test_what_is_not_plain_texture_is_not_missed() -> None:
    given = matches(40, 0.0)
    faint = Matches(given.first, given.second, given.information, given.likeness, 40, plain=np.zeros(40, bool))
    assert len(faint.keep(np.arange(40) < 20).lost) == 0
