"""The lid is known by its tone along the rim, however uneven it is, and a rim without one says so."""

import numpy as np
import pytest
from beds import Thing, lay_out, lid_surface
from surfaces import ground, paper, strokes

from dawnproof.measure.lid import surroundings


@pytest.mark.parametrize("kind", ["white", "grey", "black", "open"])
def test_kind_and_reach(kind: str) -> None:
    bed, (truth,) = lay_out(300, 400, kind, [Thing(strokes(160, 200, 3), (200, 150), shadow=0.0)], 4)
    noisy = (bed + np.random.default_rng(1).normal(0, 0.0006, bed.shape)).astype(np.float32)
    lid = surroundings(noisy, kind)
    assert lid is not None
    assert lid.kind == kind
    work = np.zeros((300, 400), bool)
    work[round(truth.top) : round(truth.bottom), round(truth.left) : round(truth.right)] = True
    assert lid.reach[work].mean() < 0.03
    assert lid.reach[~work].mean() > 0.97


def test_grain_is_the_change_by_noise_alone() -> None:
    bed = lid_surface(300, 400, "grey", 2, 0.004)
    noisy = (bed + np.random.default_rng(1).normal(0, 0.003, bed.shape)).astype(np.float32)
    lid = surroundings(noisy, "grey")
    assert lid is not None
    # the mean size of the difference of two samples, halved, three channels summed; a median lies a little lower
    assert lid.grain == pytest.approx(3 * 0.003 * np.sqrt(2) * np.sqrt(2 / np.pi) / 2, rel=0.12)


def test_a_step_at_the_stitch_is_followed() -> None:
    bed, _ = lay_out(300, 400, "white", [Thing(paper(160, 200, 3), (200, 150))], 4)
    bed[:, 210:] *= np.float32(0.98)
    noisy = (bed + np.random.default_rng(1).normal(0, 0.0006, bed.shape)).astype(np.float32)
    lid = surroundings(noisy, "white")
    assert lid is not None
    assert lid.threshold < 0.02
    assert lid.reach[:20].mean() > 0.95


@pytest.mark.parametrize("colour", [(0.8, 0.2, 0.2), (0.2, 0.5, 0.7)])
def test_a_coloured_rim_is_no_lid(colour: tuple[float, float, float]) -> None:
    assert surroundings(ground(200, 250, colour), "white") is None


def test_a_painted_rim_is_no_lid() -> None:
    assert surroundings(strokes(600, 700, 3), "white") is None
