import pytest
from rich.text import Text

from dawnproof.report.screen import Section, fitted, line, stacked, wrapped


def section(title: str, count: int, least: int = 1) -> Section:
    return Section(title, tuple(line(f"{title}{number}") for number in range(count)), least)


def plain(rows: list[Text]) -> list[str]:
    return [row.plain.rstrip() for row in rows]


@pytest.mark.parametrize("height", range(12))
def test_exactly_so_many_lines_of_exactly_such_width(height: int) -> None:
    rows = stacked((section("a", 5, 2), section("b", 3, 1), section("c", 0)), 30, height)
    assert len(rows) == height
    assert all(row.cell_len == 30 for row in rows)


def test_least_lines_first_then_what_is_left_in_order() -> None:
    rows = plain(stacked((section("a", 5, 2), section("b", 3, 2)), 30, 5))
    assert [row.split()[-1] for row in rows] == ["a0", "a1", "more", "b0", "more"]
    assert "… 3 more" in rows[2]


def test_a_wide_sign_counts_two_columns() -> None:
    assert fitted(line("水水水水"), 5).cell_len == 5


def test_markup_means_nothing() -> None:
    assert line("[bold]x[/]", ("[red]y", "bold")).plain == "[bold]x[/][red]y"


def test_wrapping_marks_what_is_left_out() -> None:
    assert wrapped("one two three four", 8, 2) == ["one two", "three …"]
    assert wrapped("one", 8, 2) == ["one"]
