"""A doubling begins and ends where the truth says it does, also where rows at its end hold nothing."""

from __future__ import annotations

import numpy as np
import pytest
import scans
import surfaces

from dawnproof.measure.doubling import search_up_to
from dawnproof.measure.seam_ends import STEP_ROWS, ends
from dawnproof.measure.seam_strip import Strip, lay_strips

ROWS, COLUMNS, STITCH, PX = 1200, 1200, 611, 9.0
NEAR_ROWS = 24  # 1 mm at 600 ppi


def strip_of(truth: scans.Profile, work: surfaces.Surface, blend_px: float = 0.0) -> Strip:
    left, right = scans.cameras(5, noise=0.002)
    stitch = scans.Stitch(STITCH, truth, blend_px, 0.0, 0.5, left, right)
    scan = scans.make_scan(work, None, stitch, ppi=600.0)
    own, _ = lay_strips((550, 670), COLUMNS, search_up_to(40.0, (0.0, 16.0)), 1)
    for band in scans.bands(scan.pixels, 200):
        own.see(band)
    own.finish()
    return own


@pytest.mark.parametrize("blend_px", [0.0, 16.0])
@pytest.mark.parametrize("surface", [surfaces.weave, surfaces.strokes])
@pytest.mark.parametrize("found", [(448, 704), (512, 640), (384, 768)])
def test_ends_are_within_a_millimetre_however_coarsely_it_was_found(
    found: tuple[int, int], surface: surfaces.Maker, blend_px: float
) -> None:
    truth = scans.lifted_between(ROWS, 0.35, 0.6, PX)
    lifted = np.flatnonzero(truth >= PX / 2)
    first, past = ends(strip_of(truth, surface(ROWS, COLUMNS, 3), blend_px), STITCH, blend_px, PX, *found, range(ROWS))
    assert abs(first - lifted[0]) <= NEAR_ROWS
    assert abs(past - lifted[-1] - 1) <= NEAR_ROWS


def test_an_end_among_rows_that_hold_nothing_is_in_their_middle() -> None:
    work = surfaces.weave(ROWS, COLUMNS, 3)
    silent = range(560, 760)
    work[silent.start : silent.stop] = surfaces.ground(len(silent), COLUMNS, (0.9, 0.9, 0.88))
    truth = scans.lifted_between(ROWS, 0.25, 600 / ROWS, PX)
    _, past = ends(strip_of(truth, work), STITCH, 0.0, PX, 384, 512, range(ROWS))
    assert abs(past - (silent.start + silent.stop) / 2) <= 0.4 * len(silent)


def test_what_is_lifted_all_along_ends_with_the_work() -> None:
    rows = range(64, 1152)
    strip = strip_of(np.full(ROWS, PX), surfaces.weave(ROWS, COLUMNS, 3))
    first, past = ends(strip, STITCH, 0.0, PX, 256, 1024, rows)
    assert first <= 128 + STEP_ROWS
    assert 1152 - STEP_ROWS <= past <= 1152


@pytest.mark.parametrize("surface", [surfaces.weave, surfaces.strokes])
def test_two_lifts_on_one_stitch_are_told_from_the_first_to_the_last(surface: surfaces.Maker) -> None:
    one, other = (scans.lifted_between(ROWS, *at, PX) for at in ((0.15, 0.35), (0.6, 0.85)))
    truth = np.maximum(one, other)
    lifted = np.flatnonzero(truth >= PX / 2)
    first, past = ends(strip_of(truth, surface(ROWS, COLUMNS, 3)), STITCH, 0.0, PX, 192, 1024, range(ROWS))
    assert abs(first - lifted[0]) <= NEAR_ROWS
    assert abs(past - lifted[-1] - 1) <= NEAR_ROWS


def test_a_stray_block_far_away_is_no_end() -> None:
    truth = scans.lifted_between(ROWS, 0.15, 0.4, PX)
    lifted = np.flatnonzero(truth >= PX / 2)
    first, past = ends(strip_of(truth, surfaces.strokes(ROWS, COLUMNS, 3)), STITCH, 0.0, PX, 192, 1088, range(ROWS))
    assert abs(first - lifted[0]) <= NEAR_ROWS
    assert abs(past - lifted[-1] - 1) <= NEAR_ROWS


def test_a_stitch_at_the_rim_of_the_strip_keeps_what_was_found() -> None:
    strip = strip_of(np.zeros(ROWS), surfaces.weave(ROWS, COLUMNS, 3))
    assert ends(strip, strip.first + 4, 0.0, PX, 256, 512, range(ROWS)) == (256, 512)
