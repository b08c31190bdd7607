"""The moved pixels against `scipy.ndimage.fourier_shift` and quintic splines, which share no code with them."""

import numpy as np
import pytest
from bench.join_scene import ArraySource
from scipy import ndimage
from skimage import data

from dawnproof.assemble.parts import JoinPart, Warp
from dawnproof.assemble.resample import Mover, kernel_table
from dawnproof.assemble.view import View

CAMERA = ndimage.gaussian_filter(data.camera().astype(np.float64), 1.2, mode="wrap") / 255
SIXTEEN = np.rint(CAMERA * 60000).astype(np.uint16)


def view(pixels: np.ndarray) -> View:
    return View(JoinPart("a", "L", ArraySource(np.repeat(pixels[:, :, None], 3, axis=2)), 300.0))


def test_weights_sum_to_one_and_pass_through_pixels() -> None:
    table = kernel_table()
    assert table.sum(axis=1) == pytest.approx(np.ones(len(table)), abs=1e-6)
    assert table[0] == pytest.approx([0, 0, 1, 0, 0, 0], abs=1e-4)
    assert table[-1] == pytest.approx([0, 0, 0, 1, 0, 0], abs=1e-4)


@pytest.mark.parametrize(("dx", "dy"), [(0.25, -0.5), (3.5, 0.5), (-2.4, 1.32), (0.02, -0.01)])
def test_pure_shift_matches_the_fourier_shift(dx: float, dy: float) -> None:
    moved = Mover(view(SIXTEEN), np.array([[1, 0, dx], [0, 1, dy]])).block(40, 40, 400, 400)
    truth = np.fft.ifft2(ndimage.fourier_shift(np.fft.fft2(CAMERA), (dy, dx))).real[40:440, 40:440]
    apart = moved[:, :, 0] / 60000 - truth
    assert np.sqrt((apart**2).mean()) < 0.0006


def test_turn_and_scale_match_quintic_splines() -> None:
    turn, scale = np.deg2rad(2.7), 1.004
    cos, sin = scale * np.cos(turn), scale * np.sin(turn)
    matrix = np.array([[cos, -sin, 12.3], [sin, cos, -4.7]])
    mover = Mover(view(SIXTEEN), matrix)
    moved = mover.block(100, 100, 300, 250)
    y, x = np.mgrid[100:350, 100:400].astype(np.float64)
    back = mover.back
    at = [back[1, 0] * x + back[1, 1] * y + back[1, 2], back[0, 0] * x + back[0, 1] * y + back[0, 2]]
    truth = ndimage.map_coordinates(CAMERA, at, order=5)
    apart = moved[:, :, 1] / 60000 - truth
    assert np.sqrt((apart**2).mean()) < 0.0006
    assert abs(apart.mean()) < 1e-5


def test_a_ramp_comes_out_at_its_place_within_a_hundredth_of_a_pixel() -> None:
    """A straight slope shows position errors alone: no rounding of places to fractions of a pixel."""
    y, x = np.mgrid[0:200, 0:200]
    ramp = (5000 + 100 * x + 80 * y).astype(np.uint16)
    for dx, dy in [(0.013, 0.0), (0.0, 0.488), (0.49, 0.51), (0.25, 0.77)]:
        moved = Mover(view(ramp), np.array([[1, 0, dx], [0, 1, dy]])).block(20, 20, 150, 150)[:, :, 0]
        truth = 5000 + 100 * (x - dx) + 80 * (y - dy)
        assert np.abs(moved - truth[20:170, 20:170]).max() <= 1.0


def test_a_warp_moves_by_what_it_says() -> None:
    y, x = np.mgrid[0:200, 0:200]
    ramp = (5000 + 100 * x + 80 * y).astype(np.uint16)
    grid = np.zeros((30, 30, 2))
    grid[:, :, 0], grid[:, :, 1] = 1.5, -0.75
    warp = Warp(-64.0, -64.0, 16.0, grid)
    matrix = np.array([[1, -0.01, 2.0], [0.01, 1, 1.0]])
    mover = Mover(view(ramp), matrix, (warp,))
    moved = mover.block(30, 30, 120, 120)[:, :, 0]
    u, v = np.mgrid[30:150, 30:150][::-1].astype(np.float64)
    back = mover.back
    at_x = back[0, 0] * (u + 1.5) + back[0, 1] * (v - 0.75) + back[0, 2]
    at_y = back[1, 0] * (u + 1.5) + back[1, 1] * (v - 0.75) + back[1, 2]
    assert np.abs(moved - (5000 + 100 * at_x + 80 * at_y)).max() <= 1.5


def test_whole_pixels_are_copied() -> None:
    mover = Mover(view(SIXTEEN), np.array([[1.0, 0, 7], [0, 1.0, -3]]))
    assert mover.whole_px
    assert np.array_equal(mover.block(60, 50, 90, 80)[:, :, 0], SIXTEEN[53:133, 53:143])


def test_tiles_of_any_size_agree() -> None:
    matrix = np.array([[0.9995, -0.03, 9.4], [0.03, 0.9995, -4.2]])
    mover = Mover(view(SIXTEEN), matrix)
    whole = mover.block(50, 60, 200, 180)
    assert np.abs(whole[90:, 120:].astype(int) - mover.block(170, 150, 80, 90)).max() <= 1


def test_covers_leaves_out_the_rim_only_where_pixels_are_mixed() -> None:
    edge = np.array([0.0, 0.4, 2.1])
    row = np.full(3, 100.0)
    assert Mover(view(SIXTEEN), np.eye(2, 3)).covers(edge, row).all()
    moved = Mover(view(SIXTEEN), np.array([[1, 0, 0.5], [0, 1, 0.0]]))
    assert moved.covers(np.array([1.0, 2.0, 2.6]), row).tolist() == [False, False, True]
