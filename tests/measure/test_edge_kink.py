"""The end of a shadow on profiles whose edge is known; a plain step and a painted line are no shadow."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from dawnproof.measure.edge_kink import shadow_end

Floats = npt.NDArray[np.float64]
DEPTH = np.arange(-12.0, 14.0, 0.5)
EDGE = 1.3
FINE = np.arange(-20.0, 22.0, 0.01)


def profiles(fine: Floats, samples: int = 300, noise: float = 0.0015) -> Floats:
    """(samples, steps, 3): change a pixel of a fine profile of tone seen through pixels of 1, with noise."""
    ends = np.cumsum(np.concatenate(([0.0], fine))) * 0.01
    seen = np.array([np.interp(DEPTH + half, np.append(FINE, 22.0), ends) for half in (-0.5, 0.5)])
    tone = seen[1] - seen[0]
    step = np.zeros_like(tone)
    step[2:-2] = (tone[4:] - tone[:-4]) / 2
    return np.asarray(step[None, :, None] + np.random.default_rng(4).normal(0, noise, (samples, len(DEPTH), 3)))


def shaded(work: float, fastest: float, depth: float = 0.15, soft: float = 2.5) -> Floats:
    """A lid of 0.95 that darkens fastest at `fastest`, and a work from EDGE on."""
    shadow = 1 - depth / (1 + np.exp(-(FINE - fastest) / (soft / 2)))
    return np.where(FINE < EDGE, 0.95 * shadow, work)


@pytest.mark.parametrize("work", [0.83, 0.85, 0.90])
def test_pale_paper_begins_where_its_shadow_ends(work: float) -> None:
    fastest = EDGE - 2.0
    found = fastest + shadow_end(profiles(shaded(work, fastest)), DEPTH, np.full(300, fastest))
    assert EDGE - 0.6 <= found <= EDGE + 0.25  # within the half pixel the crop adds


@pytest.mark.parametrize("work", [0.1, 0.5, 0.8])
def test_a_plain_step_is_its_own_place(work: float) -> None:
    fine = np.where(FINE < EDGE, 0.95, work)
    assert shadow_end(profiles(fine), DEPTH, np.full(300, EDGE)) == 0.0


@pytest.mark.parametrize("line", [1.5, 2.5, 3.5])
def test_a_line_drawn_along_the_edge_lies_within_the_work(line: float) -> None:
    fine = np.where(FINE < EDGE, 0.95, 0.8) - 0.3 * (np.abs(FINE - EDGE - line) < 0.5)
    assert shadow_end(profiles(fine), DEPTH, np.full(300, EDGE)) == 0.0


def test_nothing_at_all_ends_nowhere() -> None:
    assert shadow_end(np.zeros((20, len(DEPTH), 3)), DEPTH, np.zeros(20)) == 0.0
