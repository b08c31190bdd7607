"""One pass over the bands: every check is found, asked once, and survives what is too small or empty."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import ClassVar

import numpy as np
import pytest
import scans
import surfaces

from dawnproof.errors import NotWhole
from dawnproof.measure.band import Band
from dawnproof.measure.fringe import Fringe
from dawnproof.measure.light import Light
from dawnproof.measure.one_pass import check_classes, checks_for, look
from dawnproof.measure.outline import Outline
from dawnproof.measure.streaks import Streaks
from dawnproof.model import Bed, Frame, Mark, Reading, Role, Where

MINE = {"streaks", "focus", "travel", "fringe", "light", "spots"}


def ticking() -> Iterator[float]:
    return itertools.count(0.0, 1.0)


def frame(rows: int, columns: int, channels: int = 3, depth_bits: int = 16, role: Role = Role.WORK) -> Frame:
    bed = Bed("bed-a", columns * 0.0635, rows * 0.0635)
    return Frame(columns, rows, channels, depth_bits, 400.0, 400.0, "none", None, bed, role=role)


def bands(pixels: np.ndarray, rows: int) -> Iterator[Band]:
    return (Band(first, pixels[first : first + rows]) for first in range(0, len(pixels), rows))


class Counting:
    """A check that counts rows and notes what it was asked with."""

    name: ClassVar[str] = "counting"

    def __init__(self, frame: Frame) -> None:
        self.rows = 0
        self.asked_with: Outline | None = None

    def see(self, band: Band) -> None:
        assert band.first_row == self.rows
        self.rows += band.rows

    def readings(self, outline: Outline) -> Iterable[Reading]:
        self.asked_with = outline
        return (Reading(self.name, "rows", float(self.rows), "rows"),)

    def marks(self) -> tuple[Mark, ...]:
        return (Mark("spot", 1.0, 2.0, 0.3, -4.0),)


def test_checks_are_found_by_being_there() -> None:
    names = {check.name for check in check_classes()}
    assert names >= MINE
    assert len({check.name for check in checks_for(frame(100, 100))}) == len(check_classes())


def test_every_row_is_shown_once_and_the_outline_comes_first() -> None:
    check = Counting(frame(530, 40))
    clock = ticking()
    seen = look(frame(530, 40), bands(np.zeros((530, 40, 3), np.uint16), 128), lambda: next(clock), checks=(check,))
    assert [reading.value for reading in seen.readings] == [530.0]
    assert check.asked_with is seen.outline
    assert seen.outline.box.width == 40
    assert seen.marks == (Mark("spot", 1.0, 2.0, 0.3, -4.0),)
    assert dict(seen.seconds).keys() == {"counting", "grey", "thumb"}
    assert all(value > 0 for value in dict(seen.seconds).values())


def test_side_by_side_gives_the_same() -> None:
    scan = scans.make_scan(surfaces.strokes(700, 500, 3), scans.Lid(), seed=3)
    alone = look(scan.frame, scans.bands(scan.pixels, 200), lambda: 0.0)
    with ThreadPoolExecutor(2) as threads:
        together = look(scan.frame, scans.bands(scan.pixels, 200), lambda: 0.0, threads)
    assert together.readings == alone.readings
    assert together.marks == alone.marks
    assert np.array_equal(together.thumb, alone.thumb)


def test_a_check_that_raises_ends_the_look() -> None:
    class Broken(Counting):
        def see(self, band: Band) -> None:
            raise ArithmeticError("broken")

    with pytest.raises(ArithmeticError):
        look(frame(8, 8), bands(np.zeros((8, 8, 3), np.uint16), 8), lambda: 0.0, checks=(Broken(frame(8, 8)),))


SIZES = ((1, 1), (3, 2000), (2000, 3), (70, 70), (300, 300))
FILLS = {"black": 0.0, "white": 1.0, "grey": 0.5, "noise": None}


def test_a_scan_that_breaks_off_ends_the_look_with_its_own_error() -> None:
    check = Counting(frame(1000, 40))
    ended = threading.Event()

    def broken_off() -> Iterator[Band]:
        yield from itertools.islice(bands(np.zeros((1000, 40, 3), np.uint16), 100), 3)
        raise NotWhole("the picture ends early")

    def seen() -> None:
        with ThreadPoolExecutor(2) as threads, pytest.raises(NotWhole, match="ends early"):
            look(frame(1000, 40), broken_off(), lambda: 0.0, threads, checks=(check,))
        ended.set()

    threading.Thread(target=seen, daemon=True).start()
    assert ended.wait(20.0)
    assert check.rows == 300  # what was shown is looked at, and no thread waits for more
    assert check.asked_with is None


@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize("depth_bits", [8, 16])
@pytest.mark.parametrize("fill", FILLS)
def test_a_scan_too_small_or_empty_still_gives_readings(channels: int, depth_bits: int, fill: str) -> None:
    full = 255 if depth_bits == 8 else 65535
    kind = np.uint8 if depth_bits == 8 else np.uint16
    for (rows, columns), role in itertools.product(SIZES, (Role.WORK, Role.REF)):
        share = FILLS[fill]
        shape = (rows, columns, channels)
        pixels = (
            np.random.default_rng(1).integers(0, full + 1, shape).astype(kind)
            if share is None
            else np.full(shape, round(share * full), kind)
        )
        these = frame(rows, columns, channels, depth_bits, role)
        mine = tuple(check for check in checks_for(these) if check.name in MINE)
        seen = look(these, bands(pixels, 128), lambda: 0.0, checks=mine)
        assert max(seen.thumb.shape) <= 256
        for reading in seen.readings:
            assert reading.why or reading.value is not None, reading
            if reading.check in {"focus", "fringe"} and fill != "noise":
                assert reading.value is None, reading
        told = {reading.check for reading in seen.readings}
        assert told == MINE - {"spots"} - (set() if role is Role.REF else {"light"})


def test_readings_do_not_depend_on_the_height_of_the_bands() -> None:
    scan = scans.make_scan(surfaces.strokes(900, 600, 5), scans.Lid(), seed=5)
    for kind in (Streaks, Light, Fringe):
        told = []
        for rows in (128, 256, 900):
            check = kind(scan.frame)
            for band in scans.bands(scan.pixels, rows):
                check.see(band)
            told.append(
                [reading.value for reading in check.readings(look(scan.frame, (), lambda: 0.0, checks=()).outline)]
            )
        assert told[0] == pytest.approx(told[1], abs=0.05)
        assert told[0] == pytest.approx(told[2], abs=0.05)


class Dividing(Counting):
    """A check that divides by nothing."""

    def readings(self, outline: Outline) -> Iterable[Reading]:
        yield Reading(self.name, "rows", float("nan"), "rows", where=Where(1.0, float("inf"), 2.0, 3.0))
        yield Reading(self.name, "rest", 2.0, "rows", where=Where(1.0, 2.0, 2.0, 3.0))


@pytest.mark.parametrize("threads", [0, 2])
def test_what_is_no_number_is_told_as_not_taken(threads: int) -> None:
    shape = frame(40, 30)
    pixels = np.zeros((40, 30, 3), np.uint16)
    with ThreadPoolExecutor(max(threads, 1)) as pool:
        side_by_side = pool if threads else None
        looked = look(shape, bands(pixels, 20), ticking().__next__, side_by_side, (Dividing(shape),))
    broken, whole = looked.readings
    assert (broken.value, broken.where) == (None, None)
    assert "no number (nan)" in broken.why
    assert (whole.value, whole.where) == (2.0, Where(1.0, 2.0, 2.0, 3.0))
