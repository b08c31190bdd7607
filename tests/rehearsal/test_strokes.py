"""Marks cover where they are laid, stay inside the sheet, and washes darken towards their edge."""

import numpy as np
import pytest

from dawnproof.rehearsal.strokes import Brush, Sheet, draw, drawn, lay, wash

PX_MM = 10.0
WHITE = (0.8, 0.8, 0.8)


def sheet(rows: int = 120, columns: int = 160) -> Sheet:
    return Sheet.of(np.zeros((rows, columns), np.float32), WHITE, PX_MM)


def test_a_mark_covers_its_middle_with_paint_and_body() -> None:
    painted = sheet()
    brush = Brush(8.0, 3.0, PX_MM, np.random.default_rng(1), dryness=0.0)
    lay(painted, brush.stamp(0.0), 60, 80, (0.1, 0.2, 0.4), body_mm=0.2, gloss=0.5)
    middle = painted.pigment[57:64, 70:90].mean(axis=(0, 1))
    assert middle == pytest.approx([0.1, 0.2, 0.4], rel=0.25)
    assert painted.relief[60, 80] > 0.03
    assert painted.gloss[60, 80] == pytest.approx(0.5, abs=0.05)
    assert painted.pigment[5, 5] == pytest.approx(WHITE)


@pytest.mark.parametrize(("row", "column"), [(0, 0), (119, 159), (-400, 80), (60, 900)])
def test_a_mark_at_or_beyond_the_edge_stays_on_the_sheet(row: int, column: int) -> None:
    painted = sheet()
    lay(painted, Brush(8.0, 3.0, PX_MM, np.random.default_rng(2)).stamp(1.0), row, column, (0.1, 0.1, 0.1), 0.1, 0.0)
    touched = bool((painted.pigment < 0.7).any())
    assert touched is (0 <= row < 120 and 0 <= column < 160)


def test_a_wash_is_darkest_along_its_edge_and_leaves_the_rest_alone() -> None:
    painted = sheet(200, 200)
    inside = (80.0 - np.hypot(*np.ogrid[-100:100, -100:100])).astype(np.float32)
    wash(painted, inside, (0.5, 0.5, 0.5), 1.0, np.random.default_rng(3))
    grey = painted.pigment.mean(axis=2)
    edge, middle = grey[(inside > 1) & (inside < 4)].mean(), grey[inside > 40].mean()
    assert edge < middle < 0.8
    assert grey[inside < -2].min() == pytest.approx(0.8)


def test_drawn_lines_catch_on_the_heights() -> None:
    rows = np.sin(np.arange(120) / 2.0)[:, None].repeat(160, axis=1).astype(np.float32) * 0.02
    paper = Sheet.of(rows, WHITE, PX_MM)
    line = np.array([[80, 0], [80, 119]], np.float32)
    draw(paper, drawn((120, 160), [line], 3.0), (1.0, 1.0, 1.0), tooth=0.5)
    stroke = paper.pigment[:, 80, 0]
    assert np.corrcoef(stroke, rows[:, 80])[0, 1] < -0.9
    assert paper.pigment[:, 40, 0] == pytest.approx(0.8)


def test_a_part_of_a_sheet_is_the_sheet() -> None:
    whole = sheet()
    part = whole.part(slice(10, 30), slice(20, 60))
    part.pigment[:] = 0.1
    assert whole.pigment[10, 20, 0] == pytest.approx(0.1)
    assert part.shape == (20, 40)
