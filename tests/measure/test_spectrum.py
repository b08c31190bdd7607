"""Periodic traces and spectra of tiles with a known history."""

import cv2
import numpy as np
import pytest

from dawnproof.measure.spectrum import along_rows, enlarged_by, held_share


def noise(seed: int, rows: int = 256, columns: int = 256) -> np.ndarray:
    return (0.5 + np.random.default_rng(seed).normal(0, 0.002, (rows, columns))).astype(np.float32)


@pytest.mark.parametrize("factor", [1.25, 1.37, 1.6, 1.9, 2.0])
def test_period_of_interpolated_noise_gives_the_factor(factor: float) -> None:
    small = [noise(k, 256, 230) for k in range(6)]
    tiles = [
        np.asarray(cv2.resize(t, None, fx=factor, fy=1, interpolation=cv2.INTER_CUBIC), np.float32)[:, :256]
        for t in small
    ]
    axis = along_rows(tiles)
    assert axis is not None
    assert enlarged_by(axis) == pytest.approx(factor, abs=0.02)


def test_white_noise_has_no_period_and_fills_the_spectrum() -> None:
    axis = along_rows([noise(k) for k in range(6)])
    assert axis is not None
    assert enlarged_by(axis) is None
    assert abs(axis.outer_db) < 0.5
    assert held_share(axis) == 1.0


def test_blurred_noise_is_gradual_not_enlarged() -> None:
    axis = along_rows([np.asarray(cv2.GaussianBlur(noise(k), (0, 0), 1.6), np.float32) for k in range(6)])
    assert axis is not None
    assert enlarged_by(axis) is None
    # a Gaussian of 1.6 px has come down to a hundredth of its power near 0.4 of Nyquist beyond the quarter
    assert 0.35 < held_share(axis) < 0.6


def test_a_printed_repeat_has_many_periods() -> None:
    motif = np.kron(np.random.default_rng(3).uniform(0, 1, (4, 7)), np.ones((4, 4)))[:, :28]
    sheet = np.tile(motif, (16, 10))[:256, :256].astype(np.float32)
    axis = along_rows([(sheet + noise(k) - 0.5).astype(np.float32) for k in range(4)])
    assert axis is not None
    assert enlarged_by(axis) is None


def test_a_print_of_an_enlarged_picture_under_the_scanners_own_noise_is_native() -> None:
    small = np.asarray(
        cv2.GaussianBlur(np.random.default_rng(4).normal(0.5, 0.08, (180, 180)), (0, 0), 1.0), np.float32
    )
    large = np.asarray(cv2.resize(small, (256, 256), interpolation=cv2.INTER_CUBIC), np.float32)
    axis = along_rows([(large + noise(k) - 0.5).astype(np.float32) for k in range(4)])
    assert axis is not None
    assert enlarged_by(axis) is None


def test_tiles_without_variation_give_nothing() -> None:
    assert along_rows([np.full((256, 256), 0.5, np.float32)]) is None
    assert along_rows([]) is None
