"""What lies on the bed: a picture with flat tones is no target, a shade of the lid is no part of the work."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from dawnproof.measure.lid import Surroundings
from dawnproof.measure.pieces import rectangle_around, sort_out, without_glimmer, without_shades

ROWS, COLUMNS = 420, 700
Mask = npt.NDArray[np.uint8]


def soft_picture(random: np.random.Generator, rows: int, columns: int) -> npt.NDArray[np.float32]:
    """Out of focus: flat nearly everywhere, and of every tone."""
    coarse = random.uniform(0.1, 0.9, (9, 12, 3)).astype(np.float32)
    return np.asarray(cv2.resize(coarse, (columns, rows), interpolation=cv2.INTER_CUBIC), np.float32)


def target(random: np.random.Generator, rows: int, columns: int) -> npt.NDArray[np.float32]:
    """24 patches, each of one tone and a little noise, on black."""
    out = np.full((rows, columns, 3), 0.05, np.float32)
    high, wide = rows // 4, columns // 6
    for row in range(4):
        for column in range(6):
            out[row * high + 3 : (row + 1) * high - 3, column * wide + 3 : (column + 1) * wide - 3] = random.uniform(
                0.05, 0.95, 3
            )
    return out


def laid(*things: tuple[npt.NDArray[np.float32], int, int]) -> tuple[npt.NDArray[np.float32], list[Mask]]:
    """The bed with things at (top, left), and the mask of each, largest first."""
    bed = np.full((ROWS, COLUMNS, 3), 0.95, np.float32)
    masks = []
    for picture, top, left in things:
        place = slice(top, top + picture.shape[0]), slice(left, left + picture.shape[1])
        bed[place] = picture
        mask = np.zeros((ROWS, COLUMNS), np.uint8)
        mask[place] = 1
        masks.append(mask)
    noise = np.random.default_rng(5).normal(0, 0.003, bed.shape)
    return np.asarray(bed + noise, np.float32), masks


@pytest.mark.parametrize("seed", range(6))
def test_a_soft_picture_is_the_work_and_the_target_lies_beside_it(seed: int) -> None:
    random = np.random.default_rng(seed)
    bed, masks = laid((soft_picture(random, 300, 400), 20, 20), (target(random, 100, 150), 300, 500))
    told = sort_out(bed, masks, [rectangle_around(mask) for mask in masks])
    assert (told.main, told.others, told.beside) == (0, (), (1,))


def test_a_miniature_beside_a_larger_target_is_the_work() -> None:
    random = np.random.default_rng(1)
    bed, masks = laid((target(random, 180, 280), 20, 20), (soft_picture(random, 120, 160), 260, 420))
    told = sort_out(bed, masks, [rectangle_around(mask) for mask in masks])
    assert (told.main, told.others, told.beside) == (1, (), (0,))


def sheet(turn_deg: float, left: float = 60.0) -> Mask:
    """A sheet of 560 x 300 turned about its middle."""
    mask = np.zeros((ROWS, COLUMNS), np.uint8)
    corners = cv2.boxPoints(((left + 280.0, 200.0), (560.0, 300.0), turn_deg))
    cv2.fillPoly(mask, [np.round(corners).astype(np.int32)], (1,))
    return mask


@pytest.mark.parametrize("turn_deg", [0.0, 0.5, -1.8])
def test_a_shade_of_the_lid_at_a_corner_is_cut_off(turn_deg: float) -> None:
    mask = sheet(turn_deg)
    shaded = mask.copy()
    shaded[0:70, 610:COLUMNS] = 1  # from the sheet's corner to the frame
    alone, found = rectangle_around(mask), rectangle_around(without_shades(shaded))
    assert abs(found.x - alone.x) < 8
    assert abs(found.half_width - alone.half_width) < 8
    assert rectangle_around(shaded).half_width > alone.half_width + 30, "the shade would have counted"


@pytest.mark.parametrize(("turn_deg", "left"), [(0.0, 200.0), (3.0, 135.0), (0.0, 60.0)])
def test_a_work_that_runs_out_by_a_side_or_a_corner_stays_as_it_is(turn_deg: float, left: float) -> None:
    mask = sheet(turn_deg, left)
    assert np.array_equal(without_shades(mask), mask)


def room(distance: npt.NDArray[np.float32], kind: str = "open") -> tuple[Mask, Surroundings]:
    """What stands out by more than 0.02 from a dark room."""
    piece = (distance > 0.02).astype(np.uint8)
    return piece, Surroundings(kind, distance, 0.02, 0.001, 1 - piece)


def glimmer(x: float, y: float, high: float = 0.035, wide: float = 45.0) -> npt.NDArray[np.float32]:
    down, across = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float32)
    noise = np.random.default_rng(3).normal(0, 0.001, (ROWS, COLUMNS))
    return np.asarray(high * np.exp(-((across - x) ** 2 + (down - y) ** 2) / (2 * wide**2)) + noise, np.float32)


@pytest.mark.parametrize("kind", ["open", "white"])
def test_a_glimmer_of_the_dark_room_between_work_and_frame_is_no_part_of_the_work(kind: str) -> None:
    distance = glimmer(COLUMNS - 40.0, 200.0)
    distance[100:300, 150 : COLUMNS - 90] = 0.6
    piece, lid = room(distance, kind)
    assert piece[:, -1].any()
    kept = without_glimmer(piece, lid)
    if kind == "open":
        assert not kept[:, -1].any()
        assert int(rectangle_around(kept).half_width * 2) == pytest.approx(COLUMNS - 240, abs=12)
    else:
        assert kept is piece


@pytest.mark.parametrize("tone", [0.03, 0.05, 0.6])
def test_a_work_that_runs_out_beside_an_open_lid_stays_as_it_is(tone: float) -> None:
    distance = glimmer(60.0, 60.0, high=0.0)
    distance[100:300, 250:] = 0.5
    distance[100:300, 560:] = tone
    piece, lid = room(distance)
    assert without_glimmer(piece, lid)[100:300, -1].all()
