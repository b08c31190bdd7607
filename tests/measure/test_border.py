"""The crop readings on lids of all kinds, with the truth from the scene: never inside, half a mm a side, skew 0.05."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import product

import numpy as np
import numpy.typing as npt
import pytest
from beds import Thing, Truth, lay_out, lid_surface
from scans import Camera, Stitch, bands, cameras, code, frame_of, see, two_cameras
from surfaces import Surface, drawing, ground, laid, paper, strokes, wash, weave

from dawnproof.measure import trace
from dawnproof.measure.border import BorderCheck
from dawnproof.measure.outline import Outline
from dawnproof.model import Bed, Frame, Level, Reading, Sides
from dawnproof.policy import Context, judge_scan
from dawnproof.rulebook import load_book

Make = Callable[[int, int, int], Surface]
ALL = Sides()
ROWS, COLUMNS, PPI = 900, 1100, 300.0
MM = 25.4 / PPI


def scan(bed: Surface, lid: str, noise: float = 0.002) -> tuple[npt.NDArray[np.unsignedinteger], Frame]:
    pixels = code(see(bed, Camera(noise=noise), 0.0, 0.0, 5))
    return pixels, frame_of(pixels, PPI, Bed("bed-a", COLUMNS * MM, ROWS * MM, lid=lid))


def look(pixels: npt.NDArray[np.unsignedinteger], frame: Frame) -> tuple[Outline, dict[str, Reading]]:
    check = BorderCheck(frame)
    for band in bands(pixels, 111):
        check.see(band)
    outline = check.outline()
    return outline, {reading.name: reading for reading in check.readings(outline)}


def beyond_mm(outline: Outline, truth: Truth) -> npt.NDArray[np.float64]:
    """How far each side of the box lies outside the work; negative = inside it."""
    box = outline.box
    left, top = max(truth.left, 0.0), max(truth.top, 0.0)
    right, bottom = min(truth.right, COLUMNS), min(truth.bottom, ROWS)
    return np.array([left - box.x, top - box.y, box.right - right, box.bottom - bottom]) * MM


@pytest.mark.parametrize("lid", ["white", "grey", "black", "open"])
@pytest.mark.parametrize(("make", "skew"), [(strokes, 0.0), (paper, 1.3), (wash, -0.42), (weave, -2.3)])
def test_straight_edges_on_every_lid(lid: str, make: object, skew: float) -> None:
    work = make(560, 700, 3)  # type: ignore[operator]
    bed, (truth,) = lay_out(ROWS, COLUMNS, lid, [Thing(work, (520, 440), skew)], 2)
    outline, readings = look(*scan(bed, lid))
    assert outline.lid == lid
    off = beyond_mm(outline, truth)
    assert off.min() >= 0.0
    # this wash has the tone of its own shadow on the white lid: its edge is lost in it by a little more
    assert off.max() <= (0.6 if make is wash and lid == "white" else 0.5)
    assert readings["skew"].value == pytest.approx(skew, abs=0.05)
    assert readings["works"].value == 1.0
    where = readings["skew"].where
    assert where is not None
    assert where.x_mm == pytest.approx(outline.box.x * MM, abs=1e-3)


def test_margin_is_the_smallest_distance_to_the_frame() -> None:
    bed, (truth,) = lay_out(ROWS, COLUMNS, "grey", [Thing(strokes(560, 700, 3), (370, 440))], 2)
    _, readings = look(*scan(bed, "grey"))
    assert readings["margin"].value == pytest.approx(truth.left * MM, abs=0.5)
    assert readings["margin"].side == "left"


def test_two_cameras_of_different_gain_leave_a_step_in_the_lid() -> None:
    bed, (truth,) = lay_out(ROWS, COLUMNS, "white", [Thing(strokes(560, 700, 4), (520, 440), 0.7)], 2)
    left, right = cameras(9, gain=0.03)
    pixels = code(two_cameras(bed, Stitch(550, left=left, right=right), 3))
    outline, readings = look(pixels, scan(bed, "white")[1])
    assert 0.0 <= beyond_mm(outline, truth).min() <= beyond_mm(outline, truth).max() <= 0.5
    assert readings["skew"].value == pytest.approx(0.7, abs=0.05)


@pytest.mark.parametrize("lid", ["white", "black"])
@pytest.mark.parametrize("rough_px", [5.0, 12.0])
def test_deckle_and_torn_edges_are_never_cut(lid: str, rough_px: float) -> None:
    thing = Thing(paper(560, 700, 3), (520, 440), 0.5, rough_px=rough_px, grain_px=8.0)
    bed, (truth,) = lay_out(ROWS, COLUMNS, lid, [thing], 6)
    outline, _ = look(*scan(bed, lid))
    off = beyond_mm(outline, truth)
    assert off.min() >= 0.0
    assert off.max() <= 0.8


@pytest.mark.parametrize(("lid", "skew", "seed"), [("white", 2.4, 5), ("black", -2.6, 7), ("black", -2.6, 9)])
def test_a_tooth_at_the_corner_of_a_skewed_sheet_is_not_cut(lid: str, skew: float, seed: int) -> None:
    """The corners are the outermost of it, and no part of what its lines are fitted to."""
    thing = Thing(paper(560, 700, seed), (520, 440), skew, rough_px=10.0, grain_px=5.0, shadow=0.05)
    bed, (truth,) = lay_out(ROWS, COLUMNS, lid, [thing], seed)
    outline, _ = look(*scan(bed, lid))
    off = beyond_mm(outline, truth)
    assert off.min() >= 0.0
    assert off.max() <= 0.5


def test_work_that_runs_out_of_the_frame() -> None:
    bed, (truth,) = lay_out(ROWS, COLUMNS, "white", [Thing(strokes(560, 700, 3), (900, 440), 0.4)], 2)
    pixels, frame = scan(bed, "white")
    outline, readings = look(pixels, frame)
    assert outline.runs_out == Sides(False, False, True, False)
    assert readings["margin"].value == 0.0
    assert beyond_mm(outline, truth).min() >= 0.0
    inner, inner_readings = look(pixels, replace(frame, outer=Sides(right=False)))
    assert inner.box == outline.box
    assert float(inner_readings["margin"].value or 0) > 10.0
    assert readings["skew"].value == pytest.approx(0.4, abs=0.05)


@pytest.mark.parametrize("left_over", [1, 2, 3])
def test_work_that_runs_out_over_columns_which_fill_no_block_of_the_overview(left_over: int) -> None:
    bed, _ = lay_out(ROWS, COLUMNS, "white", [Thing(strokes(560, 700, 3), (900, 440), 0.4)], 2)
    pixels, frame = scan(bed[:, : COLUMNS - left_over], "white")
    outline, readings = look(pixels, frame)
    assert outline.runs_out == Sides(False, False, True, False)
    assert outline.box.right == frame.width_px
    assert readings["margin"].value == 0.0


def test_part_with_inner_sides_only_is_all_work() -> None:
    pixels, frame = scan(paper(ROWS, COLUMNS, 3), "white")
    outline, readings = look(pixels, replace(frame, outer=Sides(False, False, False, False)))
    assert outline.found
    assert (outline.box.width, outline.box.height) == (COLUMNS, ROWS)
    assert readings["margin"].value is None
    assert "inner sides" in readings["margin"].why


def test_painting_over_the_whole_frame_has_no_margin() -> None:
    outline, readings = look(*scan(strokes(ROWS, COLUMNS, 3), "white"))
    assert (outline.found, outline.lid) == (True, "none")
    assert readings["margin"].value == 0.0


@pytest.mark.parametrize("make", [paper, drawing])
def test_bare_paper_over_the_whole_frame_is_not_cropped_to_its_drawing(make: object) -> None:
    outline, readings = look(*scan(make(ROWS, COLUMNS, 3), "white"))  # type: ignore[operator]
    assert not outline.found
    assert (outline.box.width, outline.box.height) == (COLUMNS, ROWS)
    assert {name: r.value for name, r in readings.items()} == {"skew": None, "margin": None, "works": None}
    assert all(r.why for r in readings.values())


def test_two_works_on_one_bed() -> None:
    things = [Thing(strokes(500, 430, 3), (270, 420), 0.5), Thing(paper(560, 420, 4), (800, 470), -0.6)]
    bed, truths = lay_out(ROWS, COLUMNS, "grey", things, 2)
    outline, readings = look(*scan(bed, "grey"))
    assert readings["works"].value == 2.0
    (other,) = outline.other_works
    main, second = (truths[1], truths[0]) if outline.box.x > 500 else truths
    assert beyond_mm(outline, main).min() >= 0.0
    assert other.x <= second.left
    assert other.right >= second.right


def target() -> Surface:
    tones = np.random.default_rng(4).uniform(0.05, 0.95, (4, 9, 3)).astype(np.float32)
    return np.kron(tones, np.ones((34, 34, 1), np.float32))


def ruler() -> Surface:
    stick = ground(36, 800, (0.85, 0.8, 0.6))
    stick[4:16, ::12] = 0.1
    return stick


@pytest.mark.parametrize("lid", ["white", "grey", "black"])
def test_target_ruler_and_weight_are_left_out(lid: str) -> None:
    things = [
        Thing(strokes(480, 600, 3), (400, 330), 0.4),
        Thing(target(), (400, 690), 0.0),
        Thing(ruler(), (500, 830), 0.2),
        Thing(ground(110, 110, (0.25, 0.25, 0.27)), (900, 300), 12.0),
    ]
    bed, truths = lay_out(ROWS, COLUMNS, lid, things, 2)
    outline, readings = look(*scan(bed, lid))
    off = beyond_mm(outline, truths[0])
    assert off.min() >= 0.0
    assert off.max() <= 0.5
    assert readings["works"].value == 1.0
    assert len(outline.left_out) == 3
    assert "3 thing(s)" in readings["works"].why


def test_spans_stay_inside_the_work_and_hold_nearly_all_of_it() -> None:
    bed, _ = lay_out(ROWS, COLUMNS, "white", [Thing(strokes(560, 700, 3), (520, 440), 2.0)], 2)
    outline, _ = look(*scan(bed, "white"))
    turn = np.radians(2.0)
    inside = 0
    for row in range(ROWS):
        left, right = outline.rows_span(row)
        for column in (left, right - 1) if right > left else ():
            dx, dy = column + 0.5 - 520, row + 0.5 - 440
            along, across = dx * np.cos(turn) + dy * np.sin(turn), dy * np.cos(turn) - dx * np.sin(turn)
            assert abs(along) < 350
            assert abs(across) < 280
        inside += right - left
    assert inside > 0.97 * 560 * 700
    spans = outline.spans_of(0, ROWS)
    assert [tuple(pair) for pair in spans.tolist()] == [outline.rows_span(row) for row in range(ROWS)]


def test_bare_lid_says_so() -> None:
    outline, _ = look(*scan(lid_surface(ROWS, COLUMNS, "white", 1, 0.004), "white"))
    assert not outline.found
    assert "nothing on the bed" in outline.why


def test_corners_are_sub_pixel() -> None:
    bed, _ = lay_out(ROWS, COLUMNS, "grey", [Thing(strokes(560, 700, 3), (520.3, 440.7), 1.5, shadow=0.0)], 2)
    outline, _ = look(*scan(bed, "grey"))
    turn = np.radians(1.5)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners = np.array([[-350, -280], [350, -280], [350, 280], [-350, 280]]) @ matrix.T + (520.3, 440.7)
    assert np.abs(np.array(outline.corners) - corners).max() < 1.2


@pytest.mark.parametrize(("side", "words"), [("left", "on the left"), ("top", "at the top"), ("right", "on the right"),
                                             ("bottom", "at the bottom")])  # fmt: skip
def test_the_side_with_the_smallest_margin_is_the_one_a_person_is_told(side: str, words: str) -> None:
    """The measured side must survive the way into words, whichever module finds it and whichever says it."""
    towards = {"left": (-1, 0), "top": (0, -1), "right": (1, 0), "bottom": (0, 1)}[side]
    rows, columns, near = 600, 800, 30
    x = COLUMNS / 2 + towards[0] * (COLUMNS / 2 - columns / 2 - near)
    y = ROWS / 2 + towards[1] * (ROWS / 2 - rows / 2 - near)
    bed, _ = lay_out(ROWS, COLUMNS, "grey", [Thing(strokes(rows, columns, 3), (x, y))], 3)
    _, found = look(*scan(bed, "grey"))
    (told,) = judge_scan([found["margin"]], load_book("fine-art"), Context())
    assert told.level is Level.NOTE
    assert f"beside the work {words};" in told.text


@pytest.mark.parametrize(("skew_deg", "certain"), [(0.2, False), (-2.6, True)])
def test_the_skew_of_a_torn_work_is_told_with_what_its_edges_leave_open(skew_deg: float, certain: bool) -> None:
    """And no fault is built on it unless the skew is far larger than that."""
    thing = Thing(strokes(560, 720, 3), (COLUMNS / 2, ROWS / 2), skew_deg, 10.0, 8.0)
    bed, _ = lay_out(ROWS, COLUMNS, "grey", [thing], 3)
    outline, found = look(*scan(bed, "grey"))
    skew = found["skew"]
    assert float(skew.value or 0) == pytest.approx(skew_deg, abs=2 * outline.skew_error_deg)
    assert skew.sure < 0.9
    assert skew.why.startswith(f"known to {2 * outline.skew_error_deg:.2f} degrees only")
    assert skew.certain is certain


def test_the_skew_of_a_cut_work_is_told_without_reserve() -> None:
    bed, _ = lay_out(ROWS, COLUMNS, "grey", [Thing(strokes(560, 720, 3), (COLUMNS / 2, ROWS / 2), 0.8)], 3)
    _, found = look(*scan(bed, "grey"))
    assert (found["skew"].why, found["skew"].certain) == ("", True)
    assert found["skew"].sure >= 0.9


@pytest.mark.parametrize(
    ("seed", "columns", "fall"), [(1, 626, (-2.0, 1.0)), (3, 626, (-2.0, 1.0)), (3, 626, None), (3, 620, None)]
)
def test_a_rib_along_the_edge_of_laid_paper_is_no_edge(
    seed: int, columns: int, fall: tuple[float, float] | None
) -> None:
    """Pale paper behind a faint shadow: the flank of its first rib is the sharper change, but the colour of the paper
    begins before it."""
    thing = Thing(laid(560, columns, seed), (COLUMNS / 2, ROWS / 2), 0.37, 0.0, 6.0, 0.05, 5.2, fall)
    bed, (truth,) = lay_out(ROWS, COLUMNS, "white", [thing], 3)
    outline, _ = look(*scan(bed, "white", 0.001))
    assert beyond_mm(outline, truth).min() >= 0


def beside_the_frame(
    lid: str, work: Surface, gap_px: float, outer: Sides = ALL, channels: int = 3
) -> tuple[Outline, dict[str, Reading]]:
    """A work whose left edge lies so far inside the frame (negative: outside), its shadow as wide as the gap."""
    thing = Thing(work, (gap_px + work.shape[1] / 2, ROWS / 2), 0.05, shadow=0.3, shadow_px=8.0)
    bed, _ = lay_out(ROWS, COLUMNS, lid, [thing], 4)
    pixels, frame = scan(bed, lid)
    return look(pixels if channels == 3 else pixels[:, :, 1:2].copy(), replace(frame, outer=outer, channels=channels))


@pytest.mark.parametrize("lid", ["white", "grey"])
@pytest.mark.parametrize("make", [strokes, wash, laid])
def test_a_narrow_strip_of_lid_in_the_shade_of_the_work_is_a_small_margin(lid: str, make: Make) -> None:
    """The shadow reaches the frame, the work does not: nothing of it is cut off."""
    outline, found = beside_the_frame(lid, make(520, 640, 6), 0.9 / MM)
    margin = found["margin"]
    assert 0.3 < float(margin.value or 0) < 0.9, "at most half a millimetre outside the work, and never inside"
    assert not outline.runs_out.left
    (told,) = judge_scan([margin], load_book("fine-art"), Context())
    assert told.level is Level.NOTE


@pytest.mark.parametrize(
    ("make", "gap_mm"),
    [*product((strokes, wash, drawing, weave), (-0.5, -1.0, -2.0)), (laid, -0.7), (laid, -1.0)],
)
def test_a_work_that_runs_out_by_little_is_told_to_run_out(make: Make, gap_mm: float) -> None:
    outline, found = beside_the_frame("white", make(520, 640, 6), gap_mm / MM)
    assert outline.runs_out.left
    assert found["margin"].value == 0.0


def test_of_a_page_of_letters_only_the_largest_are_asked_for_edges_of_their_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Under a coarse header they are as large as works, and there are thousands of them."""
    asked: list[object] = []

    def no_sheet(*each: object) -> bool:
        asked.append(each)
        return False

    monkeypatch.setattr(trace, "_has_edges", no_sheet)
    page = [Thing(strokes(120, 120, k), (160 + 260 * (k % 4), 160 + 260 * (k // 4)), 0.0) for k in range(12)]
    bed, _ = lay_out(ROWS, COLUMNS, "grey", page, 1)
    outline, _ = look(*scan(bed, "grey"))
    assert len(outline.left_out) >= 10
    assert 0 < len(asked) <= 8


@pytest.mark.parametrize(("make", "gap_mm"), [(strokes, -0.5), (weave, -1.0), (laid, -3.0), (laid, -4.0)])
def test_of_one_channel_no_strip_is_taken_for_shade(make: Make, gap_mm: float) -> None:
    """Paper and lid in shadow are both grey there."""
    outline, found = beside_the_frame("white", make(520, 640, 6), gap_mm / MM, channels=1)
    assert outline.runs_out.left
    assert found["margin"].value == 0.0


def test_an_inner_side_of_a_part_is_not_looked_at_behind_a_shade() -> None:
    """It runs out by nature; whatever darkens there belongs to the work."""
    outline, _ = beside_the_frame("white", strokes(520, 640, 6), 0.9 / MM, Sides(left=False))
    assert outline.runs_out.left
