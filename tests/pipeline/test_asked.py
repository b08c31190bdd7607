"""What is asked of the next scan, from the shipped books."""

from __future__ import annotations

from dawnproof.model import ListedJob
from dawnproof.pipeline.asked import asked_of
from dawnproof.rulebook import load_book, read_book

BOOK = load_book("fine-art")


def test_bits_ppi_and_the_name() -> None:
    asked = asked_of(BOOK, None)
    assert (asked.bits, asked.ppi, asked.naming) == (16, 400, "{job}_{part}[_t{take}]")


def test_an_ordered_print_may_ask_for_more() -> None:
    """Needed scan ppi = print ppi x enlargement: 240 ppi on a print three times as long are 720, in steps of 50."""
    assert asked_of(BOOK, ListedJob("SL-0412", 200.0, 100.0, print_mm=600.0)).ppi == 750
    assert asked_of(BOOK, ListedJob("SL-0412", 200.0, 100.0, print_mm=200.0)).ppi == 400


def test_a_studio_that_asks_for_more_is_heard() -> None:
    book = read_book("[limits.resolution]\nppi_x = { note = 600.0 }\nppi_y = { note = 600.0 }\n", "own")
    assert asked_of(book, None).ppi == 600
