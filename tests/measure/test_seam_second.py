"""A suspect's own rows decide: a doubling speaks as much as one should, chance and the picture itself do not."""

from __future__ import annotations

import numpy as np
import pytest
import scans
import surfaces

from dawnproof.measure.doubling import search_up_to
from dawnproof.measure.seam_search import Mark
from dawnproof.measure.seam_second import PARTS, Second, look_again
from dawnproof.measure.seam_strip import Strip

ROWS, COLUMNS, STITCH, PPI = 512, 420, 205, 400.0


def strip_of(px: float | scans.Profile, work: surfaces.Surface | None = None, blend_px: float = 0.0) -> Strip:
    left, right = scans.cameras(5, noise=0.002)
    sheet = surfaces.paper(ROWS, COLUMNS, 8) if work is None else work
    scan = scans.make_scan(sheet, None, scans.Stitch(STITCH, px, blend_px, 0.0, 0.5, left, right), ppi=PPI)
    strip = Strip(0, COLUMNS, search_up_to(40.0, (0.0, 16.0)))
    for band in scans.bands(scan.pixels, 200):
        strip.see(band)
    strip.finish()
    return strip


def suspect(px: float, column: int = STITCH, blend_px: float = 0.0) -> Mark:
    return Mark(column, blend_px, 50.0, 0.0, px, px)


@pytest.mark.parametrize(("px", "blend_px"), [(3.0, 0.0), (7.5, 0.0), (7.5, 16.0), (18.0, 0.0)])
def test_a_doubling_speaks_about_as_much_as_one_should(px: float, blend_px: float) -> None:
    second = look_again(strip_of(px, blend_px=blend_px), suspect(px + 0.4, STITCH + 1, blend_px), range(ROWS))
    assert second.confirmed
    assert not second.refuted
    assert 0.5 * second.expected < second.speaks < 3 * second.expected
    assert second.rival < 0.25 * second.speaks
    assert second.mark.px == pytest.approx(px, abs=0.5)
    assert abs(second.mark.column - STITCH) <= 2


@pytest.mark.parametrize("surface", [surfaces.paper, surfaces.laid, surfaces.weave, surfaces.strokes])
@pytest.mark.parametrize("px", [3.0, 8.0, 20.0])
def test_a_flat_sheet_refutes_it(surface: surfaces.Maker, px: float) -> None:
    second = look_again(strip_of(0.0, surface(ROWS, COLUMNS, 3)), suspect(px), range(ROWS))
    assert second.refuted
    assert not second.confirmed


def test_a_doubled_stitch_refutes_another_column_and_another_size() -> None:
    strip = strip_of(7.0)
    assert look_again(strip, suspect(7.0, STITCH - 40), range(ROWS)).refuted
    assert look_again(strip, suspect(13.0), range(ROWS)).refuted


def test_half_of_the_rows_are_enough_and_a_sixth_is_not() -> None:
    half = strip_of(np.where(np.arange(ROWS) < ROWS * 0.6, 7.0, 0.0))
    assert look_again(half, suspect(7.0), range(ROWS)).confirmed
    sixth = strip_of(np.where(np.arange(ROWS) < ROWS // 6, 7.0, 0.0))
    assert not look_again(sixth, suspect(7.0), range(ROWS)).confirmed
    assert look_again(sixth, suspect(7.0), range(ROWS // 6)).confirmed


def test_only_rows_asked_for_are_looked_at() -> None:
    strip = strip_of(np.where(np.arange(ROWS) < 300, 7.0, 0.0))
    assert look_again(strip, suspect(7.0), range(300)).confirmed
    assert look_again(strip, suspect(7.0), range(310, ROWS)).refuted


def test_too_few_rows_say_nothing() -> None:
    second = look_again(strip_of(7.0), suspect(7.0), range(PARTS - 1))
    assert (second.speaks, second.expected) == (0.0, 0.0)
    assert second.refuted


def test_what_the_rows_speak_elsewhere_too_is_the_picture() -> None:
    assert Second(suspect(4.0), 100.0, 120.0, 20.0).confirmed
    assert Second(suspect(4.0), 100.0, 120.0, 90.0).refuted
    unclear = Second(suspect(4.0), 100.0, 300.0, 20.0)
    assert not unclear.confirmed
    assert not unclear.refuted
