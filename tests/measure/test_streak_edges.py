"""The edges of a line of known share come out of noise with their size; what tells nothing has no weight."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from dawnproof.measure.streak_edges import GAIN, EdgeSums, edge_sums, stacked


def noise(sigma: float, seed: int = 1) -> npt.NDArray[np.float32]:
    return (0.6 + np.random.default_rng(seed).normal(0, sigma, (300, 400))).astype(np.float32)


def share_of(sums: EdgeSums, column: int, width: int) -> float:
    left, right = (sums.sharp[:, at].sum() / sums.weight[:, at].sum() for at in (column - 1, column - 1 + width))
    return float(left - right) / 2 / GAIN[width]


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_both_edges_tell_the_share(width: int) -> None:
    shares = []
    for seed in range(10):
        tone = noise(0.003, seed)
        tone[:, 200 : 200 + width] *= 1.01
        shares.append(share_of(edge_sums(tone, False), 200, width))
    assert np.mean(shares) == pytest.approx(0.01, abs=0.0015)


def test_quiet_rows_outweigh_loud_ones() -> None:
    """Weighted least squares: a quarter of quiet rows tells it nearly as well as if the others were not there."""
    off = []
    for seed in range(20):
        tone = np.where(np.arange(300)[:, None] < 75, noise(0.002, seed), noise(0.06, seed)).astype(np.float32)
        tone[:, 200:203] *= 1.01
        off.append(share_of(edge_sums(tone, False), 200, 3) - 0.01)
    alone = 0.002 / 0.6 * np.sqrt(1.5) / np.sqrt(75) / np.sqrt(2)  # of the quiet rows: two edges, sharpened by 1.52
    assert np.std(off) < 2.5 * alone


def test_clipped_and_black_places_have_no_weight() -> None:
    tone = noise(0.003)
    tone[:, 100:120], tone[:, 300:320] = 1.0, 0.0
    weight = edge_sums(tone, True).weight[0]
    assert np.all(weight[99:120] == 0)
    assert np.all(weight[299:320] == 0)
    assert np.all(weight[130:290] > 0)


def test_stretches_keep_their_order() -> None:
    parts = [edge_sums(noise(0.003, seed), False) for seed in range(3)]
    both = stacked(parts)
    assert both.sharp.shape == both.plain.shape == both.weight.shape == (3, 399)
    assert np.array_equal(both.plain[1], parts[1].plain[0])
