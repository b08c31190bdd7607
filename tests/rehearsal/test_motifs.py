"""Motifs give plans, flows, areas and lines of the work's own size, with possible colours."""

from collections.abc import Callable

import numpy as np
import pytest

from dawnproof.rehearsal.motifs import Motif, basin, marsh, orchard, quay

SHAPE = (300, 420)
PX_MM = 8.0


@pytest.mark.parametrize("motif", [marsh, basin, orchard, quay])
def test_a_motif_fits_the_work(motif: Callable[..., Motif]) -> None:
    made = motif(SHAPE, PX_MM, np.random.default_rng(1))
    assert made.plan.shape == (*SHAPE, 3)
    assert made.flow.shape == SHAPE
    assert 0.0 < float(made.plan.min()) < float(made.plan.max()) < 1.0 or np.ptp(made.plan) == 0
    assert all(area.inside.shape == SHAPE and area.inside.dtype == np.float32 for area in made.areas)
    assert made.areas or made.lines or np.ptp(made.plan) > 0.3


@pytest.mark.parametrize("motif", [marsh, basin, orchard, quay])
def test_the_same_seed_gives_the_same_motif(motif: Callable[..., Motif]) -> None:
    first, again, other = (motif(SHAPE, PX_MM, np.random.default_rng(seed)) for seed in (2, 2, 3))
    assert np.array_equal(first.plan, again.plan)
    assert len(first.lines) == len(again.lines)
    changed = not np.array_equal(first.plan, other.plan)
    assert changed or not np.array_equal(first.areas[0].inside, other.areas[0].inside)


def test_every_wash_covers_something() -> None:
    for area in marsh(SHAPE, PX_MM, np.random.default_rng(4)).areas:
        assert 0.02 < float((area.inside > 0).mean()) < 0.98
