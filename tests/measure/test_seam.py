"""The stitch: known doublings are found with their size and place, flat scans are not accused."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import scans
import surfaces

from dawnproof.measure.outline import Outline, whole_frame
from dawnproof.measure.seam import SeamCheck
from dawnproof.model import Bed, Box, Reading

ROWS, COLUMNS, STITCH, PPI = 896, 1200, 611, 400.0


def look(scan: scans.Scan, outline: Outline | None = None) -> dict[str, Reading]:
    check = SeamCheck(scan.frame)
    for band in scans.bands(scan.pixels, 200):
        check.see(band)
    where = outline or whole_frame(scan.frame.width_px, scan.frame.height_px)
    return {reading.name: reading for reading in check.readings(where)}


def scanned(
    doubling_px: float | scans.Profile, blend_px: float = 0.0, work: surfaces.Surface | None = None
) -> scans.Scan:
    left, right = scans.cameras(5, noise=0.002)
    sheet = surfaces.paper(ROWS, COLUMNS, 8) if work is None else work
    return scans.make_scan(sheet, None, scans.Stitch(STITCH, doubling_px, blend_px, 0.0, 0.5, left, right), ppi=PPI)


@pytest.mark.parametrize(("px", "blend_px"), [(1.5, 0.0), (3.3, 20.0), (6.4, 0.0), (14.7, 30.0), (31.2, 0.0)])
def test_a_doubling_is_found_with_its_size_place_and_lift(px: float, blend_px: float) -> None:
    readings = look(scanned(px, blend_px))
    doubling, lift = readings["doubling"], readings["lift"]
    assert doubling.value == pytest.approx(px, abs=0.5)
    assert doubling.certain
    assert doubling.where is not None
    middle_mm = doubling.where.x_mm + doubling.where.width_mm / 2
    assert middle_mm == pytest.approx(STITCH * 25.4 / PPI, abs=0.3)
    # D = h (tan t1 + tan t2), below-glass cameras; the bed of the test scans has parallax 0.5
    assert lift.value == pytest.approx(px * 25.4 / PPI / 0.5, abs=0.1)


@pytest.mark.parametrize(("px", "blend_px", "tolerance_mm"), [(40.0, 30.0, 1.0), (45.0, 40.0, 0.8)])
def test_a_large_doubling_is_found_where_the_stitch_is_known_closely(
    px: float, blend_px: float, tolerance_mm: float
) -> None:
    """The strip is then hardly wider than what a displacement of that size is told from."""
    scan = scanned(px, blend_px)
    bed = dataclasses.replace(scan.frame.bed, seam_tolerance_mm=tolerance_mm)
    doubling = look(dataclasses.replace(scan, frame=dataclasses.replace(scan.frame, bed=bed)))["doubling"]
    assert doubling.value == pytest.approx(px, abs=0.5)
    assert doubling.certain


def test_the_profile_follows_a_lift_that_wanders() -> None:
    truth = scans.wavy(ROWS, 9.0, 2.0, 4)
    where = look(scanned(truth))["doubling"].where
    assert where is not None
    assert where.profile is not None
    told = [(sample.y_mm, sample.px) for sample in where.profile if sample.px is not None and sample.sure > 0.9]
    assert len(told) >= 0.9 * len(where.profile)
    for y_mm, px in told:
        assert px == pytest.approx(truth[int(y_mm * PPI / 25.4)], abs=0.5)


def test_a_lift_over_a_part_of_the_stitch_is_placed() -> None:
    truth = scans.lifted_between(ROWS, 0.4, 0.7, 12.0)
    doubling = look(scanned(truth))["doubling"]
    assert doubling.value == pytest.approx(12.0, abs=0.5)
    assert doubling.where is not None
    assert doubling.where.y_mm == pytest.approx(0.4 * ROWS * 25.4 / PPI, abs=2.0)
    assert doubling.where.y_mm + doubling.where.height_mm == pytest.approx(0.7 * ROWS * 25.4 / PPI, abs=2.0)


@pytest.mark.parametrize("blend_px", [0.0, 30.0])
@pytest.mark.parametrize("surface", [surfaces.paper, surfaces.laid, surfaces.weave])
def test_a_flat_sheet_is_sound(surface: surfaces.Maker, blend_px: float) -> None:
    doubling = look(scanned(0.0, blend_px, surface(ROWS, COLUMNS, 3)))["doubling"]
    assert doubling.value == 0.0


@pytest.mark.parametrize(
    "work",
    [
        surfaces.printed(ROWS, COLUMNS, 2),
        surfaces.crease(surfaces.strokes(ROWS, COLUMNS, 2), STITCH),
        surfaces.mounted(surfaces.strokes(ROWS, COLUMNS, 2), STITCH),
        surfaces.drawing(ROWS, COLUMNS, 2),
    ],
    ids=["printed repeat", "crease at the stitch", "edge of a mount", "drawing"],
)
def test_what_looks_like_doubling_is_no_certain_fault(work: surfaces.Surface) -> None:
    doubling = look(scanned(0.0, 0.0, work))["doubling"]
    assert doubling.value is None or float(doubling.value) < 1.0 or not doubling.certain


@pytest.mark.parametrize("width_px", [2.0, 6.0])
def test_a_crease_with_a_clipped_light_side_is_neither_doubling_nor_a_step(width_px: float) -> None:
    sheet = surfaces.crease(surfaces.paper(ROWS, COLUMNS, 6, white=0.94), STITCH, 0.12, width_px)
    readings = look(scanned(0.0, 0.0, sheet))
    for name, note in (("doubling", 1.0), ("step", 1.0), ("shift", 0.5)):
        value = readings[name].value
        assert value is None or abs(float(value)) < note or not readings[name].certain


def test_nothing_to_compare_cannot_be_judged() -> None:
    doubling = look(scanned(0.0, 0.0, surfaces.ground(ROWS, COLUMNS, (0.9, 0.9, 0.88))))["doubling"]
    assert doubling.value is None
    assert doubling.certain
    assert "too little structure" in doubling.why


def test_a_bed_without_a_stitch_is_not_asked() -> None:
    scan = scanned(8.0)
    bed = dataclasses.replace(scan.frame.bed, seams_mm=())
    readings = look(dataclasses.replace(scan, frame=dataclasses.replace(scan.frame, bed=bed)))
    assert list(readings) == ["doubling", "lift", "step", "shift"]
    for reading in readings.values():
        assert reading.value is None
        assert not reading.certain
        assert reading.why == "the bed has no stitch"


def test_a_work_that_does_not_reach_the_stitch_is_not_asked() -> None:
    scan = scanned(8.0)
    outline = dataclasses.replace(whole_frame(COLUMNS, ROWS), box=Box(0, 0, 400, ROWS))
    readings = look(scan, outline)
    assert {(r.value, r.certain, r.why) for r in readings.values()} == {
        (None, False, "the work does not reach the stitch")
    }


def test_a_narrow_scan_is_searched_over_its_whole_width() -> None:
    scan = scanned(9.3)
    bed = Bed("bed-a", 300.0, 200.0, (150.0,), parallax=0.5)
    doubling = look(dataclasses.replace(scan, frame=dataclasses.replace(scan.frame, bed=bed)))["doubling"]
    assert doubling.value == pytest.approx(9.3, abs=0.5)


def test_the_sharp_edge_of_the_work_is_no_stitch() -> None:
    """A part scan: the work begins 100 px from the left on an even lid, sharper than its own texture, and runs out on
    the right; the place of the stitch is not known."""
    scan = scanned(0.0)
    pixels = scan.pixels.copy()
    pixels[:, :100] = 61000 + np.random.default_rng(3).normal(0, 130, (ROWS, 100, 3)).astype(np.int64)
    bed = Bed("bed-a", 300.0, 200.0, (150.0,), parallax=0.5)
    frame = dataclasses.replace(scan.frame, bed=bed)
    corners = ((100.0, 0.0), (float(COLUMNS), 0.0), (float(COLUMNS), float(ROWS)), (100.0, float(ROWS)))
    outline = dataclasses.replace(whole_frame(COLUMNS, ROWS), box=Box(100, 0, COLUMNS - 100, ROWS), corners=corners)
    doubling = look(dataclasses.replace(scan, pixels=pixels, frame=frame), outline)["doubling"]
    assert doubling.value == 0.0 or (doubling.value is None and doubling.why)


def test_a_position_in_the_header_says_where_the_stitch_lies() -> None:
    scan = scanned(9.3)
    bed = Bed("bed-a", 300.0, 200.0, (100.0 + STITCH * 25.4 / PPI,), parallax=None)
    frame = dataclasses.replace(scan.frame, bed=bed, x_position_mm=100.0)
    readings = look(dataclasses.replace(scan, frame=frame))
    assert readings["doubling"].value == pytest.approx(9.3, abs=0.5)
    assert readings["lift"].value is None
    assert "not calibrated" in readings["lift"].why


def test_eight_bit_grey_is_measured_as_well() -> None:
    scan = scanned(7.2)
    grey = (scan.pixels[:, :, 1:2] >> 8).astype(np.uint8)
    frame = scans.frame_of(grey, PPI, scan.frame.bed)
    assert look(dataclasses.replace(scan, pixels=grey, frame=frame))["doubling"].value == pytest.approx(7.2, abs=0.5)


@pytest.mark.parametrize("gain", [1.0, 1.05])
def test_the_tone_step_of_two_cameras(gain: float) -> None:
    stitch = scans.Stitch(STITCH, right=scans.Camera((gain, gain, gain)))
    step = look(scans.make_scan(surfaces.paper(ROWS, COLUMNS, 4, white=0.8), None, stitch, ppi=PPI))["step"]
    if gain == 1.0:
        assert step.value == 0.0
    else:
        # 5 % in the encoding at 0.8 of full scale: L* from 82 to 86, CIEDE2000 near 2.8 (Sharma, Wu, Dalal 2005)
        assert step.value == pytest.approx(2.8, abs=0.4)
        assert step.certain


@pytest.mark.parametrize("shift_px", [0.0, 1.5, -1.5, 3.5])
def test_the_vertical_shift_of_two_cameras(shift_px: float) -> None:
    stitch = scans.Stitch(STITCH, shift_px=shift_px)
    shift = look(scans.make_scan(surfaces.weave(ROWS, COLUMNS, 4), None, stitch, ppi=PPI))["shift"]
    assert shift.value == pytest.approx(shift_px, abs=0.3)
