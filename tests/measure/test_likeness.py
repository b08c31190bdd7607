"""A work scanned again is known again, another is not taken for it, a blank one decides nothing."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import scans
import surfaces

from dawnproof.measure.likeness import Thumbnail, same_picture
from dawnproof.measure.thumb import Thumb

ROWS, COLUMNS = 700, 560


def thumb(surface: surfaces.Surface, lid: scans.Lid | None, seed: int = 1) -> Thumbnail:
    scan = scans.make_scan(np.clip(surface, 0, 1), lid, noise=0.003, seed=seed)
    made = Thumb(scan.frame)
    for band in scans.bands(scan.pixels, 128):
        made.see(band)
    return made.picture()


WORKS = {
    "strokes": surfaces.strokes(ROWS, COLUMNS, 61),
    "others": surfaces.strokes(ROWS, COLUMNS, 62),
    "drawing": surfaces.drawing(ROWS, COLUMNS, 63),
    "lines": surfaces.drawing(ROWS, COLUMNS, 64),
}
FLAT = scans.Lid(margins_px=(60, 60, 60, 60))
AGAIN = scans.Lid(margins_px=(30, 90, 90, 30), skew_deg=1.6)


@pytest.mark.parametrize("work", WORKS)
def test_the_same_work_elsewhere_turned_and_darker(work: str) -> None:
    found = same_picture(thumb(WORKS[work], FLAT), thumb((WORKS[work] * 0.93) ** 1.08, AGAIN, 2))
    assert found.same
    assert found.certain
    assert found.score > 0.6


@pytest.mark.parametrize(("one", "other"), [("strokes", "others"), ("drawing", "lines"), ("strokes", "drawing")])
def test_another_work_of_the_same_size_at_the_same_place(one: str, other: str) -> None:
    found = same_picture(thumb(WORKS[one], FLAT), thumb(WORKS[other], FLAT, 2))
    assert not found.same
    assert found.certain
    assert found.score < 0.33


def test_scans_of_different_areas_need_the_scale() -> None:
    wide = scans.Lid(margins_px=(150, 120, 150, 120))
    first, second = thumb(WORKS["strokes"], FLAT), thumb(WORKS["strokes"], wide, 2)
    scale = (ROWS + 240) / (ROWS + 120)
    assert same_picture(first, second, scale).same
    assert same_picture(first, second, scale).score > same_picture(first, second).score


def test_bare_sheets_decide_nothing() -> None:
    first = thumb(surfaces.paper(ROWS, COLUMNS, 65, tooth=0.003), FLAT)
    second = thumb(surfaces.paper(ROWS, COLUMNS, 66, tooth=0.003), FLAT, 2)
    assert not same_picture(first, second).certain
    assert same_picture(first, second).why


def test_a_pattern_decides_nothing() -> None:
    sheet = surfaces.weave(ROWS, COLUMNS, 67, pitch_px=(60.0, 56.0))
    found = same_picture(thumb(sheet, FLAT), thumb(sheet, AGAIN, 2))
    assert not found.certain


def test_crumbs_decide_nothing() -> None:
    assert not same_picture(np.zeros((3, 5), np.uint8), np.zeros((256, 2), np.uint8)).certain


def test_the_thumb_is_the_area_mean() -> None:
    surface = WORKS["strokes"]
    small = thumb(surface, None)
    assert small.shape == (256, round(COLUMNS * 256 / ROWS))
    grey = surface @ np.array([0.299, 0.587, 0.114], np.float32)
    expected = np.asarray(cv2.resize(grey, small.shape[::-1], interpolation=cv2.INTER_AREA)) * 255
    assert np.abs(small - expected).mean() < 2.0


def test_a_work_laid_the_other_way_round_is_still_the_same() -> None:
    turned = np.ascontiguousarray(WORKS["strokes"][::-1, ::-1])
    found = same_picture(thumb(WORKS["strokes"], FLAT), thumb(turned, AGAIN, 2))
    assert found.same
    assert found.certain
    assert "180" in found.why


def test_a_mirror_image_is_another_picture() -> None:
    mirrored = np.ascontiguousarray(WORKS["strokes"][:, ::-1])
    assert not same_picture(thumb(WORKS["strokes"], FLAT), thumb(mirrored, FLAT, 2)).same
