"""How far a row lies sideways of the row before it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy.ndimage import gaussian_filter1d, shift

from dawnproof.measure.row_jump import ROWS_AROUND, Jump, jump_between

Field = npt.NDArray[np.float64]
COLUMNS, COUNT = 3000, 2 * ROWS_AROUND


def content(smooth_px: float, seed: int, columns: int = COLUMNS + 200) -> Field:
    """One row of detail as coarse as that, of deviation 1."""
    row = gaussian_filter1d(np.random.default_rng(seed).standard_normal(columns), smooth_px)
    return np.asarray(row / row.std())


def rows_of(detail: Field, shifts_px: list[float], noise: float, seed: int = 0) -> npt.NDArray[np.uint16]:
    """The same row so far to the right, each with noise of its own."""
    rng = np.random.default_rng((seed, 3))
    moved = [shift(detail, by, order=3)[100 : 100 + COLUMNS] for by in shifts_px]
    rows = 30000 + 1000 * (np.array(moved) + noise * rng.standard_normal((len(shifts_px), COLUMNS)))
    return np.asarray(np.rint(rows), np.uint16)


def slipped(shift_px: float) -> list[float]:
    return [0.0] * ROWS_AROUND + [shift_px] * ROWS_AROUND


def the_jump(rows: npt.NDArray[np.uint16]) -> Jump:
    jump = jump_between(rows, 70)
    assert jump is not None
    assert jump.row == 70
    return jump


@pytest.mark.parametrize("shift_px", [1.3, -4.07, 11.6, -25.25])
@pytest.mark.parametrize("smooth_px", [1.5, 5.0])
def test_a_jump_has_its_size(smooth_px: float, shift_px: float) -> None:
    jump = the_jump(rows_of(content(smooth_px, 1), slipped(shift_px), 0.05))
    assert jump.shift_px == pytest.approx(shift_px, abs=0.1)
    assert jump.certain


@pytest.mark.parametrize("seed", range(6))
def test_detail_fainter_than_its_noise_tells_in_all_chunks_together(seed: int) -> None:
    """A row correlates with the next by 0.4: less than one chunk alone could be believed by."""
    jump = the_jump(rows_of(content(2.0, seed), slipped(-6.0), 1.2, seed))
    assert jump.shift_px == pytest.approx(-6.0, abs=0.5)


def test_noise_alone_and_detail_that_stays_are_no_jump() -> None:
    for seed in range(60):
        assert jump_between(rows_of(0 * content(2.0, seed), slipped(5.0), 1.0, seed), 70) is None
        assert jump_between(rows_of(content(2.0, seed), slipped(0.0), 0.7, seed), 70) is None


def test_new_content_below_an_edge_is_no_jump() -> None:
    """Two works meet at a row: each chunk has its own lag at which they look most alike."""
    for seed in range(60):
        above, below = (rows_of(content(6.0, k), slipped(0.0), 0.05, seed) for k in (seed, seed + 1000))
        assert jump_between(np.concatenate([above[:ROWS_AROUND], below[ROWS_AROUND:]]), 70) is None


@pytest.mark.parametrize("step_px", [1.0, -3.0, 9.0])
def test_what_slants_or_sweeps_on_from_row_to_row_is_no_jump(step_px: float) -> None:
    assert jump_between(rows_of(content(4.0, 2), [step_px * k for k in range(COUNT)], 0.05), 70) is None


def test_a_slip_of_slanted_content_is_what_goes_beyond_the_slant() -> None:
    slanted = [2.0 * k + by for k, by in enumerate(slipped(7.0))]
    assert the_jump(rows_of(content(4.0, 2), slanted, 0.05)).shift_px == pytest.approx(7.0, abs=0.2)


def test_one_row_that_lies_aside_alone_is_a_jump() -> None:
    alone = [0.0] * COUNT
    alone[ROWS_AROUND] = 8.0
    assert the_jump(rows_of(content(3.0, 4), alone, 0.05)).shift_px == pytest.approx(8.0, abs=0.2)


def test_a_pattern_that_repeats_is_not_certain() -> None:
    """Moved by 7 px, a pattern of 16 px may as well have moved by 9 to the other side."""
    stripes = np.sin(np.arange(COLUMNS + 200) * 2 * np.pi / 16.0)
    jump = jump_between(rows_of(stripes, slipped(7.0), 0.1), 70)
    assert jump is None or not jump.certain


def test_detail_in_two_chunks_alone_proves_nothing() -> None:
    detail = content(3.0, 5)
    detail[600:] = 0
    assert jump_between(rows_of(detail, slipped(6.0), 0.05), 70) is None


def test_four_rows_are_enough_and_too_few_columns_are_nothing() -> None:
    rows = rows_of(content(3.0, 6), slipped(5.0), 0.05)
    jump = jump_between(rows[ROWS_AROUND - 2 : ROWS_AROUND + 2], 70)
    assert jump is not None
    assert jump.shift_px == pytest.approx(5.0, abs=0.1)
    assert jump_between(rows[:, :60], 70) is None
