"""Noise of known deviation in the quiet places only, and no halo where none can be told."""

import numpy as np
import pytest

from dawnproof.measure.noise import halo_share, noise_share


@pytest.mark.parametrize("deviation", [0.0005, 0.002, 0.01])
def test_noise_of_quiet_places_beside_texture(deviation: float) -> None:
    rng = np.random.default_rng(1)
    tiles = [(0.5 + rng.normal(0, deviation, (256, 256))).astype(np.float32) for _ in range(4)]
    for tile in tiles:
        tile[:, 128:] += rng.normal(0, 0.05, (256, 128)).astype(np.float32)
    assert noise_share(tiles) == pytest.approx(deviation, rel=0.12)


def test_slow_changes_are_no_noise() -> None:
    ramp = np.linspace(0.1, 0.9, 256, dtype=np.float32)[None] * np.ones((256, 1), np.float32)
    assert noise_share([ramp]) == pytest.approx(0.0, abs=1e-4)


def test_nothing_to_measure_on() -> None:
    assert noise_share([]) is None
    assert noise_share([np.zeros((20, 20), np.float32)]) is None
    assert halo_share([]) is None
    assert halo_share([np.full((256, 256), 0.5, np.float32)]) is None


def test_a_dark_outline_beside_few_edges_is_no_halo() -> None:
    """Most edges are plain, a fifth of them have a painted line: the median profile leaves it out."""
    tiles = []
    for number in range(10):
        tile = np.full((256, 256), 0.3, np.float32)
        tile[:, 100 + number :] = 0.7
        if number < 2:
            tile[:, 97 + number : 100 + number] = 0.1
        tiles.append(np.asarray(tile + np.random.default_rng(number).normal(0, 0.002, tile.shape), np.float32))
    assert float(halo_share(tiles) or 0) < 0.02
