"""The smooth correction of a part on the joined image."""

from dataclasses import replace

import numpy as np
import pytest

from dawnproof.assemble.bend import bend_of, trimmed_size
from dawnproof.assemble.fit import Matches
from dawnproof.assemble.layout import Layout
from dawnproof.assemble.register import PairFit
from dawnproof.assemble.warp import Frame, apart_after, bent_at, bent_pairs, spread

RANDOM = np.random.default_rng(9)
LOW, HIGH = np.array([0.0, 0.0]), np.array([120.0, 900.0])
PLACES = RANDOM.uniform(LOW, HIGH, (180, 2))


def bent(places: np.ndarray) -> np.ndarray:
    return np.stack([4 * np.sin(places[:, 1] / 150), 3 * np.cos(places[:, 1] / 170 + 1)], axis=1)


def test_a_spread_bend_is_the_bend_within_its_frame_and_fades_beyond() -> None:
    bend = bend_of(PLACES, bent(PLACES), LOW, HIGH)
    assert bend is not None
    warp = spread(bend, [Frame(LOW, HIGH)], 100.0)
    assert np.linalg.norm(bent_at((warp,), PLACES) - bend.at(PLACES), axis=1).max() < 0.1
    beyond = np.array([[300.0, 400.0], [-200.0, 400.0], [60.0, 1200.0]])
    assert np.abs(bent_at((warp,), beyond)).max() == pytest.approx(0.0, abs=1e-9)


def three_in_a_row() -> tuple[Layout, dict[tuple[int, int], PairFit]]:
    """Parts 0, 1, 2 left to right; 1 is bent, and 2 lies as 1 was bent: nothing is left where both are corrected."""
    fits, matrices = {}, [np.column_stack([np.eye(2), [300.0 * i, 0.0]]) for i in range(3)]
    for a in (0, 1):
        places = PLACES + np.array([300.0 * (a + 1), 0.0])
        moved = bent(PLACES) if a == 0 else np.zeros_like(PLACES)
        first, second = places - matrices[a][:, 2], places + moved - matrices[a + 1][:, 2]
        matches = Matches(first, second, np.tile(np.eye(2) * 400, (180, 1, 1)), np.ones(180), 180)
        fits[a, a + 1] = PairFit(matrices[0], matches, 0.2, 120.0, (0.0, 0.0), -50.0)
    return Layout(tuple(matrices), 0, ((0, 1, 2),), (0, 1, 2), 1020, 900, "turn"), fits


def test_each_part_is_brought_to_those_nearer_the_reference() -> None:
    layout, fits = three_in_a_row()
    warps = bent_pairs(layout, fits)
    assert warps[0] == ()
    assert warps[1]
    for pair, fit in fits.items():
        assert trimmed_size(apart_after(layout, fit, pair, warps)[1]) < 0.1


def test_the_reference_is_never_bent_whichever_way_a_pair_is_named() -> None:
    layout, fits = three_in_a_row()
    turned = {(0, 1): fits[0, 1]}
    layout = replace(layout, reference=1, order=(1, 0, 2))
    warps = bent_pairs(layout, turned | {(1, 2): fits[1, 2]})
    assert warps[1] == ()
    assert warps[0]
