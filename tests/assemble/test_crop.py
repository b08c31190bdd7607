"""The crop: tight box plus border in whole pixels, cut at the frame, with each direction's own resolution."""

from dataclasses import replace

import numpy as np
from scans import bed_of, frame_of

from dawnproof.assemble.crop import crop_box
from dawnproof.measure.outline import whole_frame
from dawnproof.model import Box

FRAME = frame_of(np.zeros((600, 900, 3), np.uint8), 254.0, bed_of(np.zeros((600, 900, 3), np.uint8), 254.0))
OUTLINE = replace(whole_frame(900, 600), box=Box(100, 50, 700, 400), skew_deg=1.23456)


def test_border_is_added_on_all_sides() -> None:
    crop = crop_box(OUTLINE, FRAME, 3.0)
    assert crop.box == Box(70, 20, 760, 460)
    assert crop.tight == Box(100, 50, 700, 400)
    assert crop.skew_deg == 1.2346


def test_border_is_cut_at_the_frame() -> None:
    crop = crop_box(OUTLINE, FRAME, 20.0)
    assert crop.box == Box(0, 0, 900, 600)


def test_each_direction_has_its_own_resolution() -> None:
    crop = crop_box(OUTLINE, replace(FRAME, ppi_y=127.0), 3.0)
    assert (crop.box.x, crop.box.y) == (70, 35)


def test_without_a_straight_side_the_skew_is_none() -> None:
    assert crop_box(replace(OUTLINE, skew_deg=None), FRAME, 3.0).skew_deg == 0.0
