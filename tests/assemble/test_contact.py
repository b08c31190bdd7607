"""Contact sheets: every work there, all at one scale, good for one work and for three hundred."""

from __future__ import annotations

import numpy as np
import pytest

from dawnproof.assemble.contact import HEIGHT, WIDTH, ContactWork, contact_sheets
from dawnproof.assemble.proof import Rgb


def work(number: int, width_mm: float = 400.0, height_mm: float = 300.0, words: str = "nothing found") -> ContactWork:
    """A work of one colour of its own, so that it can be found on the sheet."""
    colour = (200 + number % 50, 10 + number // 50, 10)
    picture = np.full((30, 40, 3), colour, np.uint8)
    return ContactWork(picture, width_mm, height_mm, "■", f"SL-{number:04}", "may go back", words, "400 x 300 mm")


def areas_px(sheets: list[Rgb], works: list[ContactWork]) -> list[int]:
    """How many pixels each work takes, counted by its colour."""
    found: dict[int, int] = {}
    for sheet in sheets:
        packed = sheet.astype(np.int32) @ np.array((65536, 256, 1), np.int32)
        colours, counts = np.unique(packed, return_counts=True)
        found |= {int(c): found.get(int(c), 0) + int(n) for c, n in zip(colours, counts, strict=True)}
    keys = [int(w.picture[0, 0].astype(int) @ (65536, 256, 1)) for w in works if w.picture is not None]
    return [found.get(key, 0) for key in keys]


@pytest.mark.parametrize(("count", "sheets"), [(0, 1), (1, 1), (3, 1), (4, 1), (24, 1), (25, 2), (300, 13)])
def test_as_many_sheets_as_the_works_need(count: int, sheets: int) -> None:
    works = [work(i) for i in range(count)]
    found = contact_sheets(works, "Saltmarsh Lane")
    assert len(found) == sheets
    assert all(sheet.shape[1] == WIDTH and sheet.shape[0] <= HEIGHT for sheet in found)
    assert all(area > 3000 for area in areas_px(found, works))


def test_one_work_alone_is_large() -> None:
    one = work(1)
    assert areas_px(contact_sheets([one], "x"), [one])[0] > 400 * 300


def test_sizes_are_true_to_one_another() -> None:
    """Two works of 1 : 2 in both sides: areas of 1 : 4, within the frames' pixels."""
    large, small = work(1, 800.0, 600.0), work(2, 400.0, 300.0)
    one, other = areas_px(contact_sheets([large, small], "x"), [large, small])
    assert one / other == pytest.approx(4.0, rel=0.05)


def test_a_tiny_work_beside_a_huge_one_can_still_be_known() -> None:
    huge, tiny = work(1, 2000.0, 1500.0), work(2, 40.0, 30.0)
    assert areas_px(contact_sheets([huge, tiny], "x"), [tiny])[0] > 70 * 50


def test_a_strip_stays_within_its_place() -> None:
    works = [work(1, 3000.0, 20.0), work(2, 20.0, 3000.0), work(3)]
    sheets = contact_sheets(works, "x")
    assert all(area > 0 for area in areas_px(sheets, works))


def test_long_and_strange_words_do_no_harm() -> None:
    words = "\x1b[31m \u202e <script> " * 30
    plain, wordy = contact_sheets([work(1)], "x"), contact_sheets([work(1, words=words)], words)
    assert plain[0].shape == wordy[0].shape


def test_a_work_nobody_has_seen_yet_has_a_blank_field() -> None:
    blank = ContactWork(None, 400.0, 300.0, "□", "SL-0500", "unfinished", "waits for R", "scan 400 x 300 mm")
    assert contact_sheets([blank], "x")[0].size
