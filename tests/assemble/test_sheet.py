"""One sheet of pictures: each as it is, with label, scale and ticks that cover nothing of the place they mark."""

from __future__ import annotations

import numpy as np
import pytest

from dawnproof.assemble.sheet import CloseUp, sheet
from dawnproof.model import Box


def picture(seed: int, rows: int = 80, columns: int = 300) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    return np.random.default_rng(seed).integers(0, 256, (rows, columns, 3)).astype(np.uint8)


def holds(
    page: np.ndarray[tuple[int, ...], np.dtype[np.uint8]], piece: np.ndarray[tuple[int, ...], np.dtype[np.uint8]]
) -> bool:
    rows, columns = piece.shape[:2]
    first = piece[0, 0]
    for y, x in np.argwhere((page == first).all(2)):
        if (
            page[y : y + rows, x : x + columns].shape == piece.shape
            and (page[y : y + rows, x : x + columns] == piece).all()
        ):
            return True
    return False


@pytest.mark.parametrize("count", [1, 2, 5])
def test_every_picture_stands_on_it_pixel_for_pixel(count: int) -> None:
    pictures = [picture(seed) for seed in range(count)]
    page = sheet([CloseUp(("a label",), one) for one in pictures])
    assert all(holds(page, one) for one in pictures)


def test_a_marked_place_stays_uncovered() -> None:
    one = picture(1)
    place = Box(100, 20, 60, 40)
    page = sheet([CloseUp(("marked",), one, (place,))])
    assert holds(page, one[20:60, 100:160])
    assert not holds(page, one)


def test_the_scale_is_as_long_as_it_says() -> None:
    """The longest round length within a third of the width: at 0.1 mm a pixel and 300 px that is 10 mm, 100 px."""
    page = sheet([CloseUp(("a", "b"), picture(1), (), 0.1)])
    label = page[: page.shape[0] - 80 - 12]
    longest = max(_runs(np.asarray((label < 80).all(2))))
    assert 99 <= longest <= 103


def test_a_long_label_is_wrapped_and_never_widens_the_sheet() -> None:
    plain = sheet([CloseUp(("short",), picture(1))])
    wordy = sheet([CloseUp(("a long label that goes on " * 6, "and on " * 20), picture(1))])
    assert wordy.shape[1] == plain.shape[1]
    assert wordy.shape[0] > plain.shape[0]


def test_nothing_to_show_is_a_sheet_that_says_so() -> None:
    assert sheet([]).size


def test_names_of_other_letters_and_escapes_do_no_harm() -> None:
    assert sheet([CloseUp(("\x1b[31m \u202e Zürich <script>",), picture(1))]).size


def _runs(mask: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> list[int]:
    found = [0]
    for row in mask:
        length = 0
        for value in row:
            length = length + 1 if value else 0
            found.append(length)
    return found
