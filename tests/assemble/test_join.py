"""Whole joins of small scans: the truth is known from how the scene was cut."""

import numpy as np
import parts as made
import pytest
from bench.join_scene import ArraySource, laid, scan

from dawnproof.assemble.join import plan_join, render
from dawnproof.assemble.parts import JoinPart, JoinPlan, JoinSettings
from dawnproof.errors import JoinRefused


def onto_reference(plan: JoinPlan, part: int, reference: int = 0) -> np.ndarray:
    matrix = plan.parts[part].matrix.copy()
    matrix[:, 2] -= plan.parts[reference].matrix[:, 2]
    return matrix


@pytest.fixture(scope="module")
def turned_halves() -> tuple[JoinPlan, list[JoinPart], np.ndarray, float]:
    left, right = made.halves(70, 1.7, (0.4, -2.3))
    parts = made.pair(made.scanned(left), made.scanned(right, 2, gain=1.07))
    plan = plan_join(parts)
    error = made.corner_error(onto_reference(plan, 1), made.true_matrix(left, right), right)
    return plan, parts, np.concatenate(list(render(plan, parts, 100))), error


def test_a_turned_half_is_placed_within_a_twentieth_of_a_pixel(turned_halves) -> None:  # type: ignore[no-untyped-def]
    plan, _, _, error = turned_halves
    assert error < 0.05
    assert plan.overlaps[0].rotation_deg == pytest.approx(1.7, abs=0.005)
    assert plan.overlaps[0].relief == pytest.approx(1.0, abs=0.05)


def test_gain_is_found_on_linear_light(turned_halves) -> None:  # type: ignore[no-untyped-def]
    plan = turned_halves[0]
    assert plan.parts[0].gain == (1.0, 1.0, 1.0)
    assert plan.parts[1].gain == pytest.approx([1 / 1.07] * 3, abs=0.004)


def test_reference_pixels_away_from_the_cut_are_the_scan_bit_for_bit(turned_halves) -> None:  # type: ignore[no-untyped-def]
    plan, parts, joined, _ = turned_halves
    assert joined.dtype == np.uint16
    assert joined.shape == (plan.height, plan.width, 3)
    left, top = (int(v) for v in plan.parts[0].matrix[:, 2])
    source = parts[0].image.region(0, 0, parts[0].image.width, parts[0].image.height)
    cut = plan.cuts[0]
    for row in range(0, source.shape[0], 37):
        at = int(np.interp(row + top, cut.first + np.arange(len(cut.path)), cut.path) - plan.feather_px - 1)
        assert np.array_equal(joined[row + top, left:at], source[row, : at - left])


def test_bands_of_any_height_give_the_same_pixels(turned_halves) -> None:  # type: ignore[no-untyped-def]
    plan, parts, joined, _ = turned_halves
    whole = np.concatenate(list(render(plan, parts, 1000)))
    assert np.abs(whole.astype(int) - joined).max() <= 1


def test_joined_pixels_follow_the_scene(turned_halves) -> None:  # type: ignore[no-untyped-def]
    plan, _, joined, _ = turned_halves
    left, _ = made.halves(70, 1.7, (0.4, -2.3))
    shift = plan.parts[0].matrix[:, 2]
    frame = laid((0, 0), (plan.height, plan.width))
    frame = type(frame)(np.column_stack([np.eye(2), left.matrix[:, 2] - shift]), plan.height, plan.width)
    truth = scan(made.scene().lit(), frame, np.random.default_rng(0)).astype(float)
    inner = (slice(40, -60), slice(10, -40))
    apart = (joined[inner] - truth[inner]) / 65535
    assert np.sqrt((apart**2).mean()) < 0.004  # noise of 0.002 and a little softening


def test_whole_pixel_shift_is_copied_not_resampled() -> None:
    left, right = made.halves(80)
    parts = made.pair(made.scanned(left, noise=0.0), made.scanned(right, noise=0.0))
    plan = plan_join(parts)
    shift = onto_reference(plan, 1)
    assert np.array_equal(shift[:, :2], np.eye(2))
    assert np.array_equal(shift[:, 2], np.rint(shift[:, 2]))
    joined = np.concatenate(list(render(plan, parts)))
    x, y = (int(v) for v in plan.parts[1].matrix[:, 2])
    source = parts[1].image.region(0, 0, right.columns, right.rows)
    assert np.array_equal(joined[y : y + right.rows, x + 80 : x + right.columns], source[:, 80:])


def test_two_by_two_in_any_order_closes() -> None:
    spots = [((175 + 290 * c), (135 + 190 * r)) for r in (0, 1) for c in (0, 1)]
    cut = [laid((x, y), (240, 330), turn) for (x, y), turn in zip(spots, (0.0, 0.6, -0.5, 0.4), strict=True)]
    labels = ["r1c1", "r1c2", "r2c1", "r2c2"]
    order = [2, 0, 3, 1]
    parts = [JoinPart(labels[i], labels[i], made.scanned(cut[i], i + 5), made.PPI) for i in order]
    plan = plan_join(parts)
    reference = next(i for i, p in enumerate(plan.parts) if p.name == plan.reference)
    assert len(plan.overlaps) == 4
    assert len(plan.cuts) == 3
    assert max(o.closure_px for o in plan.overlaps) < 0.15
    assert not [n for n in plan.notes if n.code == "contradiction"]
    for place, i in enumerate(order):
        true = made.true_matrix(cut[order[reference]], cut[i])
        assert made.corner_error(onto_reference(plan, place, reference), true, cut[i]) < 0.1
    assert np.concatenate(list(render(plan, parts))).shape == (plan.height, plan.width, 3)


def test_numbered_parts_find_their_own_row() -> None:
    cut = [laid((x, 230), (380, 240), 0.0) for x in (140, 320, 500)]
    parts = [JoinPart(f"{i}of3", f"{i}of3", made.scanned(cut[i - 1], i), made.PPI) for i in (3, 1, 2)]
    plan = plan_join(parts)
    across = {p.name: p.column for p in plan.parts}
    assert across == {"1of3": 0, "2of3": 1, "3of3": 2}


def test_names_that_contradict_the_picture_are_said() -> None:
    left, right = made.halves()
    plan = plan_join(made.pair(made.scanned(left), made.scanned(right, 2), labels="RL"))
    said = [n for n in plan.notes if n.code == "contradiction"]
    assert len(said) == 2
    assert all(n.fault for n in said)


def test_a_sheet_that_lay_differently_is_bent_back() -> None:
    left, right = made.halves(110)
    parts = made.pair(made.scanned(left), made.scanned(right, 3, bend_px=5.0))
    plan = plan_join(parts)
    assert plan.parts[1].warps
    assert plan.parts[0].warps == ()
    assert plan.overlaps[0].warp_px > 0.5
    assert plan.overlaps[0].residual_px < 0.3


@pytest.mark.parametrize("seed", [1, 7])
def test_a_bend_that_swings_back_between_the_patches_first_found_is_followed(seed: int) -> None:
    left, right = made.halves(70)
    plan = plan_join(made.pair(made.scanned(left), made.scanned(right, seed, bend_px=7.0)))
    assert plan.overlaps[0].warp_px > 2
    assert plan.overlaps[0].residual_px < 0.15


def test_stitch_strip_is_kept_out_where_the_other_part_covers_it() -> None:
    left, right = made.halves(110)
    strip = float(left.columns - 70)
    parts = made.pair(made.scanned(left), made.scanned(right, 2))
    parts[0] = JoinPart("a", "L", parts[0].image, made.PPI, seams_px=(strip,), seam_halfwidth_px=20.0)
    plan = plan_join(parts)
    assert plan.cuts[0].path.max() < strip - 20 + plan.parts[0].matrix[0, 2] + 1
    assert [n.code for n in plan.notes if n.code.startswith("strip")] == ["strip_not_used"]


def refusal(parts: list[JoinPart], settings: JoinSettings | None = None) -> str:
    with pytest.raises(JoinRefused) as refused:
        plan_join(parts, settings)
    assert str(refused.value)
    return refused.value.code


def test_parts_of_different_works_are_refused() -> None:
    left, right = made.halves()
    other = ArraySource(np.ascontiguousarray(made.scanned(right).pixels[::-1, ::-1] // 2 + 9000)[:, :, ::-1])
    strange = np.random.default_rng(4).integers(9000, 60000, other.pixels.shape, dtype=np.uint16)
    assert refusal(made.pair(made.scanned(left), ArraySource(strange))) == "unrelated"


def test_overlap_below_the_limit_is_refused_by_name() -> None:
    left, right = made.halves(14)  # 4.6 % of a half
    assert refusal(made.pair(made.scanned(left), made.scanned(right, 2))) == "overlap"


@pytest.mark.parametrize(("share", "shift_px"), [(0.053, 0.0), (0.053, 24.0)])
def test_halves_that_share_a_twentieth_of_their_own_width_are_joined(share: float, shift_px: float) -> None:
    """How far one lies higher than the other takes from the area of the overlap, not from its width."""
    wide = int((made.COLUMNS - 40) / (2 - share))
    left = laid((20 + (wide - 1) / 2, 218), (400, wide))
    right = laid((made.COLUMNS - 21 - (wide - 1) / 2, 218 + shift_px), (400, wide))
    plan = plan_join(made.pair(made.scanned(left), made.scanned(right, 2)))
    assert made.corner_error(onto_reference(plan, 1), made.true_matrix(left, right), right) < 0.3


def test_one_part_given_twice_is_refused() -> None:
    left, _ = made.halves()
    assert refusal(made.pair(made.scanned(left), made.scanned(left, 2))) == "same"


@pytest.mark.parametrize("quarters", [1, 2])
def test_a_turned_part_whose_relief_is_lit_wrongly_is_refused(quarters: int) -> None:
    left, right = made.halves(110)
    random = np.random.default_rng(3)
    lit = made.scene().lit(quarters)
    turned = ArraySource(np.rot90(scan(lit, right, random, 0.002), -quarters).copy())
    assert refusal(made.pair(made.scanned(left), turned)) == "turned"


def test_a_turned_part_without_relief_is_joined_with_a_note() -> None:
    left, right = made.halves(110)
    flat, random = made.scene(relief=0.0), np.random.default_rng(3)
    images = [scan(flat.lit(), half, random, 0.001) for half in (left, right)]
    parts = made.pair(ArraySource(images[0]), ArraySource(np.rot90(images[1], 2).copy()))
    plan = plan_join(parts)
    assert [n.code for n in plan.notes if n.code == "turned"] == ["turned"]
    assert plan.parts[1].matrix[0, 0] == pytest.approx(-1, abs=1e-3)
    assert np.concatenate(list(render(plan, parts))).shape[0] == plan.height


def test_resolution_depth_channels_and_profile_must_agree() -> None:
    left, right = made.halves()
    first, second = made.pair(made.scanned(left), made.scanned(right))
    other_ppi = JoinPart("b", "R", second.image, 400.0)
    other_depth = JoinPart("b", "R", ArraySource((second.image.region(0, 0, 90, 90) >> 8).astype(np.uint8)), made.PPI)
    grey = JoinPart("b", "R", ArraySource(second.image.region(0, 0, 90, 90)[:, :, :1]), made.PPI)
    profile = JoinPart("b", "R", second.image, made.PPI, icc=b"another")
    for other in (other_ppi, other_depth, grey, profile):
        assert refusal([first, other]) == "format"


def test_one_part_alone_is_refused() -> None:
    left, right = made.halves()
    assert refusal(made.pair(made.scanned(left), made.scanned(right))[:1]) == "count"


def test_marks_of_the_bed_stronger_than_the_texture_do_not_lock() -> None:
    """Dust, a scratch and sensor streaks stand at the same place of the bed in every scan."""
    left, right = made.halves(90, 0.5, (0.3, 1.6))
    images = [made.scanned(left).pixels, made.scanned(right, 2).pixels]
    random = np.random.default_rng(8)
    spots = random.integers(10, 400, (60, 2))
    for image in images:
        for y, x in spots:
            image[y : y + 5, x % (image.shape[1] - 8) : x % (image.shape[1] - 8) + 5] = 3000
        for x in (31, 120, 200, 333):
            image[:, x : x + 2] = np.minimum(image[:, x : x + 2].astype(int) + 6000, 65535)
    plan = plan_join(made.pair(ArraySource(images[0]), ArraySource(images[1])))
    error = made.corner_error(onto_reference(plan, 1), made.true_matrix(left, right), right)
    assert error < 0.1


def test_parts_hours_apart_get_a_note() -> None:
    left, right = made.halves()
    images = made.scanned(left), made.scanned(right)
    parts = [
        JoinPart("a", "L", images[0], made.PPI, admitted_s=0.0),
        JoinPart("b", "R", images[1], made.PPI, admitted_s=5 * 3600.0),
    ]
    assert "hours_apart" in [n.code for n in plan_join(parts).notes]


def test_readings_are_the_six_of_the_join_check() -> None:
    left, right = made.halves()
    plan = plan_join(made.pair(made.scanned(left), made.scanned(right)))
    assert [r.name for r in plan.readings] == ["residual", "warp", "tone", "relief", "overlap", "rotation"]
    overlap = next(r for r in plan.readings if r.name == "overlap")
    assert overlap.value == pytest.approx(70 / 300 * 25.4, rel=0.02)


def test_gain_of_a_narrow_overlap_is_found_too() -> None:
    left, right = made.halves(34, 0.8)
    plan = plan_join(made.pair(made.scanned(left), made.scanned(right, 2, gain=0.93)))
    assert plan.parts[1].gain == pytest.approx([1 / 0.93] * 3, abs=0.006)
    assert plan.overlaps[0].relief is not None
