"""Cuts of a whole grid, and what they leave of the stitch strips."""

import numpy as np
import pytest
from bench.join_scene import ArraySource

from dawnproof.assemble.blend import Layer
from dawnproof.assemble.cutting import Strip, cut_all
from dawnproof.assemble.layout import Layout
from dawnproof.assemble.parts import Cut, JoinPart
from dawnproof.assemble.resample import Mover
from dawnproof.assemble.view import View, in_strip
from dawnproof.model import Box

ROWS, COLUMNS, STEP = 120, 200, 120  # two parts share 80 columns


def scene(rows: int, columns: int) -> np.ndarray:
    tone = np.random.default_rng(2).uniform(15000, 45000, (rows, columns, 1))
    return np.asarray(np.repeat(tone, 3, axis=2), np.uint16)


def joined(
    seams: dict[int, float], box: Box | None = None, rows_of_parts: int = 1
) -> tuple[tuple[Cut, ...], tuple[Strip, ...]]:
    """Parts of one scene side by side, in one or two rows; `seams` by part: the column of its stitch, barred 12 px
    either side."""
    whole = scene(rows_of_parts * STEP + ROWS - STEP, STEP + COLUMNS)
    layers, grid = [], []
    for row in range(rows_of_parts):
        grid.append((2 * row, 2 * row + 1))
        for column in range(2):
            x, y = column * STEP, row * (ROWS - 40)
            pixels = whole[y : y + ROWS, x : x + COLUMNS]
            index = 2 * row + column
            places = (seams[index],) if index in seams else ()
            part = JoinPart("abcd"[index], "", ArraySource(pixels), 300.0, None, places, 12.0, box=box)
            layers.append(Layer(Mover(View(part), np.array([[1.0, 0, x], [0, 1.0, y]])), (None,) * 3))
    size = (STEP + COLUMNS, whole.shape[0])
    places_of = tuple(layer.mover.matrix for layer in layers)
    layout = Layout(places_of, 0, tuple(grid), tuple(range(len(layers))), size[0], size[1], "shift")
    return cut_all(layers, layout, 3.0)


def test_a_cut_runs_where_both_parts_are() -> None:
    (cut,), strips = joined({})
    assert (cut.a, cut.b, cut.upright, len(cut.path)) == ("a", "b", True, ROWS)
    assert cut.path.min() >= STEP - 1
    assert cut.path.max() <= COLUMNS
    assert strips == ()


@pytest.mark.parametrize(("part", "seam"), [(0, 170.0), (1, 30.0)])
def test_a_strip_that_the_other_part_covers_is_left_out(part: int, seam: float) -> None:
    (cut,), (strip,) = joined({part: seam})
    assert strip.shown_share < 0.01
    if part == 0:
        assert cut.path.max() < seam - 12 + 1
    else:
        assert cut.path.min() > STEP + seam + 12 - 1


def test_a_strip_that_no_other_part_covers_is_shown_and_not_avoidable() -> None:
    _, (strip,) = joined({0: 60.0})
    assert strip.shown_share == pytest.approx(1.0, abs=0.02)
    assert strip.avoidable_share == pytest.approx(0.0, abs=0.01)


def test_strips_of_both_parts_in_each_others_way_are_owned_up_to() -> None:
    """The left part's strip wants the cut before it, the right part's behind it: one of the two is shown."""
    _, strips = joined({0: 150.0, 1: 50.0})
    assert sum(strip.avoidable_share > 0.4 for strip in strips) == 1


def test_a_stitch_in_the_lid_spoils_nothing() -> None:
    """The work ends 20 columns before the strip."""
    _, (strip,) = joined({0: 60.0}, Box(90, 0, COLUMNS - 90, ROWS))
    assert strip.shown_share == 0.0


def test_a_grid_is_cut_within_its_rows_and_between_them() -> None:
    cuts, _ = joined({}, rows_of_parts=2)
    assert [(c.a, c.b, c.upright) for c in cuts] == [("a", "b", True), ("c", "d", True), ("a", "c", False)]


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_a_strip_turns_with_its_part(turns: int) -> None:
    part = JoinPart("a", "L", ArraySource(np.zeros((60, 90, 3), np.uint16)), 300.0, None, (20.0,), 5.0)
    view = View(part, turns)
    y, x = np.mgrid[0 : view.height, 0 : view.width].astype(float)
    scanned = np.rot90(in_strip(view, x, y), -turns)
    assert np.flatnonzero(scanned.all(axis=0)).tolist() == list(range(15, 26))
    assert scanned.sum() == 11 * 60
