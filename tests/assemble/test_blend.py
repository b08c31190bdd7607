"""Which part is shown where, and what mixing does to its pixels."""

import numpy as np
import pytest
from bench.join_scene import ArraySource

from dawnproof.assemble.blend import Layer, Mosaic
from dawnproof.assemble.parts import Cut, JoinPart
from dawnproof.assemble.resample import Mover
from dawnproof.assemble.view import View

FILL = np.array([7, 8, 9], np.uint16)


def layer(name: str, value: int, left: int, top: int, size: tuple[int, int], table: bool = False) -> Layer:
    """An even part of `size` (rows, columns) whose top left corner falls on (left, top)."""
    pixels = np.full((*size, 3), value, np.uint16)
    view = View(JoinPart(name, name, ArraySource(pixels), 300.0))
    doubled = (np.minimum(np.arange(65536) * 2, 65535)).astype(np.uint16)
    return Layer(Mover(view, np.array([[1.0, 0, left], [0, 1.0, top]])), (doubled if table else None,) * 3)


def pair(feather_px: float = 3.0, gain: bool = False) -> Mosaic:
    """Two parts of 40 columns that share columns 30 to 39, cut before column 35."""
    layers = (layer("a", 1000, 0, 0, (20, 40)), layer("b", 3000, 30, 0, (20, 40), gain))
    cut = Cut("a", "b", True, 0, np.full(20, 34.5, np.float32))
    return Mosaic(layers, ((0, 1),), ((cut,),), (), feather_px)


def whole(mosaic: Mosaic, width: int, height: int, rows: int = 64) -> np.ndarray:
    return np.concatenate(list(mosaic.bands(width, height, rows, FILL)))


def test_shares_sum_to_one_wherever_a_part_is() -> None:
    shares = pair().shares(np.arange(70.0), np.arange(20.0))
    assert np.sum(list(shares.values()), axis=0) == pytest.approx(np.ones((20, 70)))


def test_away_from_the_cut_each_part_is_itself_and_in_between_they_mix_evenly() -> None:
    row = whole(pair(), 70, 20)[5, :, 0].astype(int)
    assert (row[:31] == 1000).all()
    assert (row[39:] == 3000).all()
    ramp = row[32:38]
    assert (np.diff(ramp) > 0).all()
    assert ramp == pytest.approx([1000 + 2000 * (0.5 + (x - 34.5) / 6) for x in range(32, 38)], abs=1)


def test_a_narrower_feather_mixes_less() -> None:
    mixed = [
        int(((image := whole(pair(f), 70, 20)[:, :, 0]) != 1000).sum() - (image == 3000).sum()) for f in (1.0, 4.0)
    ]
    assert mixed[0] < mixed[1]


def test_gain_goes_through_the_table_before_mixing() -> None:
    assert (whole(pair(gain=True), 70, 20)[:, 50] == 6000).all()


def test_where_no_part_is_the_fill_stands() -> None:
    layers = (layer("a", 1000, 0, 0, (20, 40)), layer("b", 3000, 30, 6, (20, 40)))
    cut = Cut("a", "b", True, 0, np.full(26, 34.5, np.float32))
    image = whole(Mosaic(layers, ((0, 1),), ((cut,),), (), 3.0), 70, 26)
    assert (image[0, 60] == FILL).all()
    assert (image[25, 0] == FILL).all()


def test_a_part_is_shown_across_the_cut_where_the_other_has_nothing() -> None:
    """Right of the cut, above the second part, only the first has pixels."""
    layers = (layer("a", 1000, 0, 0, (20, 40)), layer("b", 3000, 30, 6, (20, 40)))
    cut = Cut("a", "b", True, 0, np.full(26, 34.5, np.float32))
    image = whole(Mosaic(layers, ((0, 1),), ((cut,),), (), 3.0), 70, 26)
    assert (image[2, 37] == 1000).all()
    assert (image[22, 32] == 3000).all()


def test_two_rows_are_parted_by_the_level_cut() -> None:
    layers = tuple(layer(n, v, x, y, (20, 40)) for n, v, x, y in
                   (("a", 1000, 0, 0), ("b", 2000, 30, 0), ("c", 3000, 0, 14), ("d", 4000, 30, 14)))  # fmt: skip
    upright = tuple((Cut(a, b, True, 0, np.full(34, 34.5, np.float32)),) for a, b in ("ab", "cd"))
    level = Cut("a", "c", False, 0, np.full(70, 16.5, np.float32))
    image = whole(Mosaic(layers, ((0, 1), (2, 3)), upright, (level,), 1.0), 70, 34)[:, :, 0]
    assert [int(image[y, x]) for y in (5, 30) for x in (10, 60)] == [1000, 2000, 3000, 4000]


@pytest.mark.parametrize("rows", [1, 7, 20])
def test_bands_of_any_height_agree(rows: int) -> None:
    assert np.array_equal(whole(pair(), 70, 20, rows), whole(pair(), 70, 20))
