"""A lift over a part of the stitch speaks in its own rows; calm rows do not, and what is blind says so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scans
import surfaces

from dawnproof.measure.doubling import search_up_to
from dawnproof.measure.outline import whole_frame
from dawnproof.measure.seam import SeamCheck
from dawnproof.measure.seam_search import Ground, Mark
from dawnproof.measure.seam_second import Second
from dawnproof.measure.seam_stretch import (
    MOST_DULL,
    PROVEN,
    SHORT_ROWS,
    Stretch,
    blind,
    speaking_most,
    stretches,
    suspects,
    tells_a_lift,
)
from dawnproof.measure.seam_strip import lay_strips

ROWS, COLUMNS, STITCH, PPI = 420, 1200, 611, 300.0
TOLERANCE = range(550, 670)


def looked_at(scan: scans.Scan, rows: range = range(ROWS)) -> tuple[list[Stretch], tuple[Stretch, Second] | None]:
    search = search_up_to(40.0, (0.0, 16.0))
    own, _ = lay_strips((TOLERANCE.start, TOLERANCE.stop), COLUMNS, search, 1)
    for band in scans.bands(scan.pixels, 200):
        own.see(band)
    own.finish()
    every = stretches([own], Ground(rows, range(COLUMNS), TOLERANCE))
    return every, speaking_most([own], every)


def scanned(px: float | scans.Profile, work: surfaces.Surface | None = None, blend_px: float = 0.0) -> scans.Scan:
    left, right = scans.cameras(5, noise=0.002)
    sheet = surfaces.paper(ROWS, COLUMNS, 8) if work is None else work
    return scans.make_scan(sheet, None, scans.Stitch(STITCH, px, blend_px, 0.0, 0.5, left, right), ppi=PPI)


def told(score: float, promise: float = 100.0, bare: bool = False, column: int = STITCH, dull: float = 0.5) -> Stretch:
    return Stretch(range(0, 64), Mark(column, 0.0, score, 0.0, 6.0, 6.0), promise, bare, dull)


@pytest.mark.parametrize(
    ("px", "first", "last"), [(6.0, 0.3, 0.5), (9.0, 0.02, 0.3), (9.75, 0.7, 0.95), (22.0, 0.3, 0.55)]
)
def test_a_lift_over_a_part_is_found_in_its_own_rows(px: float, first: float, last: float) -> None:
    _, found = looked_at(scanned(scans.lifted_between(ROWS, first, last, px)))
    assert found is not None
    loud, second = found
    assert second.confirmed
    assert abs(second.mark.column - STITCH) <= 1
    assert second.mark.px == pytest.approx(px, abs=0.8)
    assert loud.rows.start < last * ROWS
    assert loud.rows.stop > first * ROWS


@pytest.mark.parametrize("blend_px", [0.0, 16.0])
@pytest.mark.parametrize("surface", [surfaces.paper, surfaces.laid, surfaces.strokes])
def test_no_stretch_of_a_flat_sheet_speaks(surface: surfaces.Maker, blend_px: float) -> None:
    assert looked_at(scanned(0.0, surface(ROWS, COLUMNS, 3), blend_px))[1] is None


def test_the_runs_cover_every_row_of_the_work() -> None:
    rows = range(50, 400)
    every, _ = looked_at(scanned(0.0), rows)
    assert min(each.rows.start for each in every) == rows.start
    assert max(each.rows.stop for each in every) >= 384
    assert {row for each in every for row in each.rows} == set(range(50, max(each.rows.stop for each in every)))


def test_a_suspect_is_above_chance_and_near_its_promise_and_each_place_is_one() -> None:
    assert suspects([told(10.0), told(20.0, promise=1.1 * PROVEN * 20.0)]) == []
    loud, less, elsewhere = told(60.0), told(40.0, column=STITCH + 2), told(40.0, column=STITCH + 30)
    assert suspects([told(10.0), less, elsewhere, loud]) == [loud, elsewhere]


def test_a_stretch_without_promise_is_blind_unless_it_is_bare_or_such_rows_are_few() -> None:
    dull = told(0.0, promise=12.0)
    assert blind([told(0.0), told(0.0, promise=3.0, bare=True)]) is None
    assert blind([told(0.0, promise=25.0), dull]) is dull
    assert blind([told(0.0, promise=12.0, dull=0.9 * MOST_DULL)]) is None
    assert blind([replace(dull, short=True)]) is None


def test_a_lift_is_told_where_its_rows_confirm_it_or_both_looks_agree() -> None:
    half = told(50.0)
    seen = Second(half.mark, 90.0, 100.0)
    assert tells_a_lift(told(20.0), seen)
    assert tells_a_lift(half, replace(seen, expected=300.0)), "half of the promise, and 90 nats"
    assert not tells_a_lift(told(20.0), replace(seen, expected=300.0))
    assert not tells_a_lift(half, replace(seen, speaks=35.0, expected=300.0)), "too little in the second look"
    assert not tells_a_lift(told(100.0), replace(seen, expected=600.0)), "the first look alone"
    assert not tells_a_lift(half, replace(seen, expected=300.0), place_known=False)


@pytest.mark.parametrize("first", [0.43, 0.452, 0.474])
def test_a_sixth_of_a_high_stitch_holds_a_short_run_wherever_it_begins(first: float) -> None:
    rows = 2600
    truth = scans.lifted_between(rows, first, first + 0.15, 8.0)
    every, found = looked_at(scanned(truth, surfaces.paper(rows, COLUMNS, 8)), range(rows))
    inside = np.flatnonzero(truth > 7.6)
    short = [each for each in every if each.short]
    assert min(len(each.rows) for each in short) >= SHORT_ROWS
    assert any(each.rows.start >= inside[0] and each.rows.stop <= inside[-1] + 1 for each in short)
    assert found is not None
    assert found[1].confirmed
    assert found[1].mark.px == pytest.approx(8.0, abs=0.8)


def test_bare_paper_is_bare_and_a_drawn_line_is_not() -> None:
    bare, _ = looked_at(scanned(0.0, surfaces.ground(ROWS, COLUMNS, (0.9, 0.9, 0.88))))
    assert all(each.bare for each in bare)
    assert not any(each.bare for each in looked_at(scanned(0.0, surfaces.strokes(ROWS, COLUMNS, 3)))[0])


def test_the_check_reports_the_stretch_with_its_place() -> None:
    truth = scans.lifted_between(ROWS, 0.55, 0.75, 7.5)
    scan = scanned(truth, surfaces.weave(ROWS, COLUMNS, 3))
    check = SeamCheck(scan.frame)
    for band in scans.bands(scan.pixels, 200):
        check.see(band)
    found = {r.name: r for r in check.readings(whole_frame(COLUMNS, ROWS))}["doubling"]
    assert found.value == pytest.approx(7.5, abs=1.0)
    assert not found.certain
    assert found.where is not None
    lifted = np.flatnonzero(truth > truth.max() / 2) * 25.4 / PPI
    assert found.where.y_mm == pytest.approx(lifted[0], abs=5.0)
    assert found.where.y_mm + found.where.height_mm == pytest.approx(lifted[-1], abs=5.0)
