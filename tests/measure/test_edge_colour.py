"""The edge of pale paper by its colour, where shadow and paper are of one tone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from dawnproof.measure.edge_colour import colour_begins, coloured_before
from dawnproof.measure.edges import find_side

Floats = npt.NDArray[np.float64]
SAMPLES = 240
WARM = (0.76, 0.75, 0.70)
NEUTRAL = (0.737, 0.737, 0.737)


def sheet(edge_px: float, work: tuple[float, ...], blur_px: int = 1, shadow: float = 0.22) -> npt.NDArray[np.float32]:
    """Lid at the left, in a shadow as deep as the work is dark at its edge; the edge `edge_px` from the left."""
    fine = 16
    x = (np.arange(160 * fine) + 0.5) / fine
    lid = 0.95 * (1 - shadow * np.exp(-np.abs(edge_px - x) / 5.0))
    cover = np.clip((x - edge_px) / blur_px + 0.5, 0, 1) if blur_px > 1 else (x >= edge_px).astype(float)
    line = lid[:, None] * (1 - cover[:, None]) + np.asarray(work)[None] * cover[:, None]
    row = line.reshape(160, fine, 3).mean(axis=1)
    noise = np.random.default_rng(4).normal(0, 0.001, (SAMPLES, 160, 3))
    return np.asarray(row[None] + noise, np.float32)


def steps(picture: npt.NDArray[np.float32]) -> tuple[Floats, Floats]:
    """Change of tone a pixel around the middle column, and where."""
    change = np.gradient(picture.astype(np.float64), axis=1)
    depth = np.arange(-12.0, 12.01, 0.5)
    at = depth + 80 - 0.5
    below = np.floor(at).astype(int)
    share = (at - below)[None, :, None]
    return (1 - share) * change[:, below] + share * change[:, below + 1], depth


@pytest.mark.parametrize("off", [-1.6, 0.0, 0.8, 2.0])
def test_colour_begins_where_the_work_does(off: float) -> None:
    step, depth = steps(sheet(80.0 + off, WARM))
    begins = colour_begins(step, depth, np.zeros(SAMPLES))
    assert begins is not None
    assert begins.inwards == pytest.approx(off, abs=0.1)
    assert float(begins.share(step)[..., 0].sum(axis=1).mean() * 0.5) == pytest.approx(1.0, abs=0.05)


def test_a_work_as_neutral_as_the_lid_has_no_colour_to_go_by() -> None:
    step, depth = steps(sheet(81.0, NEUTRAL))
    assert colour_begins(step, depth, np.zeros(SAMPLES)) is None
    assert not coloured_before(step, len(depth) - 1)


def test_a_colour_that_comes_slowly_is_no_edge() -> None:
    step, depth = steps(sheet(80.0, WARM, blur_px=6))
    assert colour_begins(step, depth, np.zeros(SAMPLES)) is None


def test_what_lies_before_the_colour_is_told_from_what_lies_behind_it() -> None:
    step, depth = steps(sheet(80.0, WARM))
    assert not coloured_before(step, int(np.flatnonzero(depth == -2.0)[0]))
    assert coloured_before(step, int(np.flatnonzero(depth == 2.0)[0]))


@pytest.mark.parametrize("edge_px", [79.3, 80.0, 81.5])
def test_a_side_in_a_shadow_of_its_own_tone_is_found_by_its_colour(edge_px: float) -> None:
    """No change of lightness marks the edge, so without the colour it would be sought where the shadow begins."""
    picture = sheet(edge_px, WARM)
    middle, inwards = np.array([80.0, SAMPLES / 2]), np.array([1.0, 0.0])
    side = find_side(picture, middle, inwards, 0.96 * SAMPLES, (-8.0, 12.0), 0.001)
    assert side is not None
    assert 80 + side.at(0.0) == pytest.approx(edge_px, abs=0.2)
    assert side.spread < 0.2


def test_a_side_where_shadow_and_edge_are_met_by_turns_is_one_straight_edge() -> None:
    """Along the side the shadow is now the steeper, now the work's edge: the places jump, the colour does not."""
    falls_short = 77.5
    x = np.arange(160) + 0.5
    steep = np.repeat(np.random.default_rng(8).uniform(0.2, 2.5, 12), SAMPLES // 12)[:, None]
    shade = 1 - 0.06 / (1 + np.exp(-(x[None] - falls_short) / steep))
    picture = np.where(x[None, :, None] < 80, 0.95 * shade[..., None], np.asarray((0.89, 0.89, 0.865)))
    picture = picture + np.random.default_rng(9).normal(0, 0.001, picture.shape)
    middle, inwards = np.array([80.0, SAMPLES / 2]), np.array([1.0, 0.0])
    side = find_side(picture.astype(np.float32), middle, inwards, 0.96 * SAMPLES, (-8.0, 12.0), 0.001)
    assert side is not None
    assert 80 + side.at(0.0) == pytest.approx(80.0, abs=0.2)
    assert side.spread < 0.35, "a cut edge"
