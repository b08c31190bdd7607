"""What lies on the bed: a picture with flat tones is no target, a shade of the lid is no part of the work."""

from __future__ import annotations

import tracemalloc

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from dawnproof.measure.lid import Surroundings
from dawnproof.measure.piece import Piece
from dawnproof.measure.pieces import pieces_on_bed, rectangle_around, sort_out, without_glimmer, without_shades

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


def laid(*things: tuple[npt.NDArray[np.float32], int, int]) -> tuple[npt.NDArray[np.float32], list[Piece]]:
    """The bed with things at (top, left), and the piece of each, largest first."""
    bed = np.full((ROWS, COLUMNS, 3), 0.95, np.float32)
    pieces = []
    for picture, top, left in things:
        place = slice(top, top + picture.shape[0]), slice(left, left + picture.shape[1])
        bed[place] = picture
        mask = np.zeros((ROWS, COLUMNS), np.uint8)
        mask[place] = 1
        pieces.append(Piece.of(mask))
    noise = np.random.default_rng(5).normal(0, 0.003, bed.shape)
    return np.asarray(bed + noise, np.float32), pieces


@pytest.mark.parametrize("seed", range(6))
def test_a_soft_picture_is_the_work_and_the_target_lies_beside_it(seed: int) -> None:
    random = np.random.default_rng(seed)
    bed, pieces = laid((soft_picture(random, 300, 400), 20, 20), (target(random, 100, 150), 300, 500))
    told = sort_out(bed, pieces, [rectangle_around(piece) for piece in pieces])
    assert (told.main, told.others, told.beside) == (0, (), (1,))


def test_a_miniature_beside_a_larger_target_is_the_work() -> None:
    random = np.random.default_rng(1)
    bed, pieces = laid((target(random, 180, 280), 20, 20), (soft_picture(random, 120, 160), 260, 420))
    told = sort_out(bed, pieces, [rectangle_around(piece) for piece in pieces])
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
    alone, found = rectangle_around(Piece.of(mask)), rectangle_around(without_shades(Piece.of(shaded)))
    assert abs(found.x - alone.x) < 8
    assert abs(found.half_width - alone.half_width) < 8
    assert rectangle_around(Piece.of(shaded)).half_width > alone.half_width + 30, "the shade would have counted"


@pytest.mark.parametrize(("turn_deg", "left"), [(0.0, 200.0), (3.0, 135.0), (0.0, 60.0)])
def test_a_work_that_runs_out_by_a_side_or_a_corner_stays_as_it_is(turn_deg: float, left: float) -> None:
    piece = Piece.of(sheet(turn_deg, left))
    assert without_shades(piece) is piece


def room(distance: npt.NDArray[np.float32], kind: str = "open") -> tuple[Piece, Surroundings]:
    """What stands out by more than 0.02 from a dark room."""
    mask = (distance > 0.02).astype(np.uint8)
    return Piece.of(mask), Surroundings(kind, distance, 0.02, 0.001, 1 - mask)


def glimmer(x: float, y: float, high: float = 0.035, wide: float = 45.0) -> npt.NDArray[np.float32]:
    down, across = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float32)
    noise = np.random.default_rng(3).normal(0, 0.001, (ROWS, COLUMNS))
    return np.asarray(high * np.exp(-((across - x) ** 2 + (down - y) ** 2) / (2 * wide**2)) + noise, np.float32)


def at_right(piece: Piece) -> npt.NDArray[np.uint8]:
    """What of the piece lies along the frame at the right."""
    return np.asarray(piece.frame_lines(piece.mask)[1])


@pytest.mark.parametrize("kind", ["open", "white"])
def test_a_glimmer_of_the_dark_room_between_work_and_frame_is_no_part_of_the_work(kind: str) -> None:
    distance = glimmer(COLUMNS - 40.0, 200.0)
    distance[100:300, 150 : COLUMNS - 90] = 0.6
    piece, lid = room(distance, kind)
    assert at_right(piece).any()
    kept = without_glimmer(piece, lid)
    if kind == "open":
        assert not at_right(kept).any()
        assert int(rectangle_around(kept).half_width * 2) == pytest.approx(COLUMNS - 240, abs=12)
    else:
        assert kept is piece


@pytest.mark.parametrize("tone", [0.03, 0.05, 0.6])
def test_a_work_that_runs_out_beside_an_open_lid_stays_as_it_is(tone: float) -> None:
    distance = glimmer(60.0, 60.0, high=0.0)
    distance[100:300, 250:] = 0.5
    distance[100:300, 560:] = tone
    piece, lid = room(distance)
    kept = without_glimmer(piece, lid)
    assert at_right(kept)[100 - kept.top : 300 - kept.top].all()


def hatching(rows: int, columns: int, pitch: int) -> Surroundings:
    y, x = np.mgrid[0:rows, 0:columns]
    inside = (x >= 40) & (y >= 40) & (x < columns - 40) & (y < rows - 40)
    distance = np.where(((x + y) % pitch < 2) & inside, np.float32(0.5), np.float32(0.0))
    return Surroundings("white", distance, 0.02, 0.001, (distance < 0.02).astype(np.uint8))


def test_a_hatching_of_long_lines_takes_bounded_room() -> None:
    """Each line has a box as large as the page; under a header of 72 ppi none are near enough to be one."""
    lid = hatching(1400, 1500, 8)
    tracemalloc.start()
    pieces = pieces_on_bed(lid, 25.4 / 72, 0.6)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 60 * lid.distance.size, f"{most / lid.distance.size:.0f} bytes a pixel of the overview"
    assert pieces is None
    coarse = pieces_on_bed(hatching(1400, 1500, 40), 25.4 / 72, 0.6)
    assert coarse is not None
    assert len(coarse) > 50


def test_a_page_of_thousands_of_things_takes_no_more_room_than_its_page() -> None:
    """A header of 72 ppi on a fine scan: each letter is large enough to be a thing on the bed."""
    rows, columns, pitch = 600, 800, 24
    distance = np.zeros((rows, columns), np.float32)
    for top in range(4, rows - pitch, pitch):
        for left in range(4, columns - pitch, pitch):
            distance[top : top + 16, left : left + 16] = 0.5
    lid = Surroundings("white", distance, 0.02, 0.001, (distance < 0.02).astype(np.uint8))
    tracemalloc.start()
    pieces = pieces_on_bed(lid, 25.4 / 72, 0.6)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert pieces is not None
    assert len(pieces) == len(range(4, rows - pitch, pitch)) * len(range(4, columns - pitch, pitch))
    assert most < 40 * distance.size, f"{most / distance.size:.0f} bytes a pixel of the overview"
    assert {(rectangle.half_width, rectangle.half_height) for rectangle in map(rectangle_around, pieces)} == {(8, 8)}
