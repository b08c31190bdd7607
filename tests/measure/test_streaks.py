"""Streaks put into made scans come back with place, width and strength; lines, weaves and edges do not."""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy.typing as npt
import pytest
import scans
import surfaces

from dawnproof.measure.band import Pixels
from dawnproof.measure.outline import Outline, whole_frame
from dawnproof.measure.streak_filter import strength_by_width
from dawnproof.measure.streaks import Streaks

ROWS, COLUMNS = 700, 600


def outline(scan: scans.Scan) -> Outline:
    """Upright works only: the spans are the box."""
    frame, box = scan.frame, scan.box
    spans = np.full((frame.height_px, 2), np.nan)
    spans[box.y : box.bottom] = (box.x, box.right)
    return dataclasses.replace(whole_frame(frame.width_px, frame.height_px), box=box, spans=spans, rows_per_span=1)


def seen(scan: scans.Scan, pixels: Pixels) -> Streaks:
    check = Streaks(scan.frame)
    for band in scans.bands(pixels, 128):
        check.see(band)
    count, worst = check.readings(outline(scan))
    assert (count.name, count.unit, worst.name, worst.unit) == ("count", "columns", "worst", "%")
    assert count.value == len(check.streaks()) == len(check.marks())
    return check


def streaked(
    pixels: Pixels, column: int, width: int, share: float, rows: slice = slice(None)
) -> npt.NDArray[np.uint16]:
    changed = pixels.astype(np.float64)
    changed[rows, column : column + width] *= 1 + share
    return np.rint(np.clip(changed, 0, 65535)).astype(np.uint16)


WORKS = {
    "strokes": surfaces.strokes(ROWS, COLUMNS, 21),
    "paper": surfaces.paper(ROWS, COLUMNS, 22),
    "laid": surfaces.laid(ROWS, COLUMNS, 23),
    "weave": surfaces.weave(ROWS, COLUMNS, 24),
}


@pytest.mark.parametrize("work", WORKS)
@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_a_streak_of_one_percent_is_found_where_it_is(work: str, width: int) -> None:
    scan = scans.make_scan(WORKS[work], scans.Lid(), noise=0.003, seed=5)
    assert seen(scan, scan.pixels).streaks() == ()
    column, share = 200 + 37 * width, 0.01 if width % 2 else -0.01
    check = seen(scan, streaked(scan.pixels, column, width, share))
    (streak,) = check.streaks()
    assert streak.column == pytest.approx(column + (width - 1) / 2, abs=1.0)
    assert streak.strength == pytest.approx(share, abs=0.002)
    assert streak.on_lid
    (mark,) = check.marks()
    assert mark.kind == "streak"
    assert mark.y_mm is None
    assert mark.x_mm == pytest.approx(scan.frame.mm_x(column + width / 2), abs=0.07)


def test_strength_and_count_of_several() -> None:
    scan = scans.make_scan(WORKS["paper"], scans.Lid(), noise=0.002, seed=6)
    pixels = streaked(streaked(streaked(scan.pixels, 100, 1, 0.03), 300, 2, -0.007), 500, 4, 0.05)
    check = Streaks(scan.frame)
    for band in scans.bands(pixels, 256):
        check.see(band)
    count, worst = check.readings(outline(scan))
    assert count.value == 3
    assert worst.value == pytest.approx(5.0, abs=0.3)
    assert worst.certain
    assert worst.where is not None
    assert worst.where.x_mm == pytest.approx(scan.frame.mm_x(500), abs=0.07)
    assert [mark.strength for mark in check.marks()] == pytest.approx([5.0, 3.0, -0.7], abs=0.3)


def test_dust_that_comes_during_the_scan() -> None:
    """From 40 % of the height down over the work's lower edge."""
    scan = scans.make_scan(WORKS["paper"], scans.Lid(), noise=0.002, seed=7)
    first = int(scan.frame.height_px * 0.4)
    (streak,) = seen(scan, streaked(scan.pixels, 250, 2, -0.015, slice(first, None))).streaks()
    assert streak.first_row == pytest.approx(first, abs=40)
    assert streak.last_row == scan.frame.height_px


def test_a_fifth_of_the_height_is_none() -> None:
    scan = scans.make_scan(WORKS["paper"], scans.Lid(), noise=0.002, seed=8)
    length = scan.frame.height_px // 5
    assert seen(scan, streaked(scan.pixels, 250, 2, -0.02, slice(0, length))).streaks() == ()


def test_a_painted_line_is_none() -> None:
    """Dead straight, but it ends before the work does; or it goes over the edge of nothing and is slanted."""
    scan = scans.make_scan(WORKS["paper"], scans.Lid(), noise=0.002, seed=9)
    box = scan.box
    ruled = streaked(scan.pixels, 250, 3, -0.05, slice(box.y + 40, box.bottom - 30))
    assert seen(scan, ruled).streaks() == ()
    whole = streaked(scan.pixels, 250, 3, -0.05, slice(box.y, box.bottom))
    assert seen(scan, whole).streaks() == ()
    slanted = scan.pixels
    for row in range(scan.frame.height_px):
        slanted = streaked(slanted, 250 + row // 30, 2, -0.03, slice(row, row + 1)) if row == 0 else slanted
    slanted = scan.pixels.copy()
    for row in range(scan.frame.height_px):
        at = 250 + row // 30
        slanted[row, at : at + 2] = (slanted[row, at : at + 2] * 0.97).astype(np.uint16)
    assert seen(scan, slanted).streaks() == ()


def test_without_a_lid_smooth_works_still_tell_but_no_fault_is_built_on_it() -> None:
    scan = scans.make_scan(WORKS["laid"], None, noise=0.002, seed=10)
    check = Streaks(scan.frame)
    for band in scans.bands(streaked(scan.pixels, 333, 2, 0.012), 256):
        check.see(band)
    count, worst = check.readings(outline(scan))
    assert count.value == 1
    assert not worst.certain


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_the_filter_gives_the_strength_of_a_streak_in_white_noise(width: int) -> None:
    rng = np.random.default_rng(3)
    tone = rng.normal(0, 0.001, (20, 900))
    tone[:, 400 : 400 + width] += 0.01
    share = (tone[:, 1:-1] - (tone[:, :-2] + tone[:, 2:]) / 2).astype(np.float32)
    (strength,) = strength_by_width(share, (width,))
    assert strength.share[:, 399].mean() == pytest.approx(0.01, abs=0.0007)
    assert np.abs(strength.share[:, 500:].mean(axis=0)).max() < 0.002


@pytest.mark.parametrize("blend_px", [0.0, 6.0, 40.0])
def test_the_stitch_of_two_cameras_is_no_streak(blend_px: float) -> None:
    """A step of tone over the whole height, lid and all."""
    for gain in (0.985, 1.006, 1.02):
        right = scans.Camera((gain, gain, gain), 0.3, 0.003)
        stitch = scans.Stitch(340.0, blend_px=blend_px, left=scans.Camera(noise=0.002), right=right)
        for work in ("paper", "strokes"):
            scan = scans.make_scan(WORKS[work], scans.Lid(), stitch, seed=12)
            assert seen(scan, scan.pixels).streaks() == ()
