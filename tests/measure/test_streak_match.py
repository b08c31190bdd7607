"""The matched filter: a line in grain of any colour stands out as far as theory says, where it is and as wide."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from dawnproof.measure.streak_edges import EdgeSums, edge_sums
from dawnproof.measure.streak_match import LoneLine, Run, edge_shape, line_shape

ROWS, COLUMNS, PLACE = 400, 1500, 700


def grain(seed: int, coarse: float) -> npt.NDArray[np.float32]:
    """Noise of 1 % of the tone, each column like its neighbour by `coarse`."""
    noise = np.random.default_rng(seed).normal(0, 1, (ROWS, COLUMNS))
    for column in range(1, COLUMNS):
        noise[:, column] = coarse * noise[:, column - 1] + np.sqrt(1 - coarse**2) * noise[:, column]
    return (0.5 * (1 + 0.01 * noise)).astype(np.float32)


def run_of(tone: npt.NDArray[np.float32]) -> Run:
    sums = edge_sums(tone, False)
    return Run(EdgeSums(sums.sharp, sums.plain, sums.weight), 0, 1)


def strongest(tone: npt.NDArray[np.float32]) -> LoneLine:
    return max(run_of(tone).candidates(), key=lambda line: line.z)


@pytest.mark.parametrize("coarse", [0.0, 0.6, 0.9])
@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_a_line_is_found_where_it_is_and_as_wide(coarse: float, width: int) -> None:
    tone = grain(1, coarse)
    tone[:, PLACE : PLACE + width] *= 1.006
    line = strongest(tone)
    assert (line.column, line.width_px) == (PLACE, width)
    assert line.ratio > 1.5


@pytest.mark.parametrize(("coarse", "least"), [(0.0, 0.5), (0.9, 0.6)])
def test_evidence_is_not_far_from_what_the_grain_allows(coarse: float, least: float) -> None:
    """Best possible: with the grain made white again, share / sigma * sqrt(rows * energy of the shape). Weights from a
    dozen places each, which make a picture's quiet places count, cost a third of it in an even grain."""
    sizes = []
    for seed in range(8):
        tone = grain(seed, coarse)
        tone[:, PLACE : PLACE + 2] *= 1.005
        sizes.append(strongest(tone).z)
    white = np.convolve([0.0, 1.0, 1.0, 0.0], [1.0, -coarse])
    best = 0.005 / 0.01 * np.sqrt(ROWS * float(white @ white) / (1 - coarse**2))
    assert least * best < np.mean(sizes) < best


@pytest.mark.parametrize("coarse", [0.0, 0.9])
def test_grain_alone_reaches_no_further_than_its_others(coarse: float) -> None:
    ratios = [line.ratio for seed in range(12) for line in run_of(grain(100 + seed, coarse)).candidates()]
    assert max(ratios) < 1.5


def test_what_a_line_explains_is_its_evidence_and_an_edge_explains_less() -> None:
    tone = grain(3, 0.6)
    tone[:, PLACE : PLACE + 3] *= 1.01
    line = strongest(tone)
    to_see, (both, *edges) = run_of(tone).explained(line, [line_shape(3), edge_shape(3, 0), edge_shape(3, 3)])
    assert both == pytest.approx(line.z**2, rel=0.15)
    assert max(edges) < 0.7 * both
    assert both < to_see < both + 40  # some twenty columns of grain beside it


def test_lines_that_repeat_are_foretold() -> None:
    """A ruling of every 12 columns: none of its lines stands out; not foretold, they would be all there is to see."""
    ruled = grain(4, 0.0)
    for column in range(5, COLUMNS - 5, 12):
        ruled[:, column : column + 2] *= 1.02
    lines = list(run_of(ruled).candidates())
    assert lines
    assert max(line.ratio for line in lines) < 1.5


def test_a_straight_joint_does_not_stand_for_many_of_the_works_own_lines() -> None:
    """Two broad joints with rounded and sharp flanks, and a streak between them that they outdo."""
    tone = grain(5, 0.6)
    for left in (300, 1100):
        tone[:, left : left + 8] *= np.float32(1.05)
        tone[:, left + 8 : left + 10] *= np.float32(0.98)
        tone[:, left : left + 2] *= np.float32(0.98)
    tone[:, PLACE : PLACE + 2] *= 1.01
    (line,) = [one for one in run_of(tone).candidates() if one.column == PLACE and one.width_px == 2]
    assert line.ratio > 2
