"""A mistake is told by the book that holds it, its whole key, and the word that was probably meant."""

from __future__ import annotations

import pytest

from dawnproof.errors import RuleBookError
from dawnproof.rulebook import read_book
from dawnproof.rulebook.lines import line_of
from dawnproof.rulebook.mistakes import unknown


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        ("[beds.a]\nwidth_mm = 600\nlength_mm = 450\nseam = 300", "beds.a.seam", "did you mean 'seam_mm'"),
        ('[beds.a]\nwidth_mm = 600\nlength_mm = 450\nlid = "red"', "beds.a.lid", "'white', 'grey', 'black' or 'open'"),
        ('[beds.a]\nwidth_mm = 600\nlength_mm = 450\nseam_mm = "x"', "beds.a.seam_mm", "not 'x'"),
        (
            '[beds.a]\nwidth_mm = 600\nlength_mm = 450\nseam_mm = [100, "x"]',
            "beds.a.seam_mm",
            "line 4: beds.a.seam_mm: value 2 of the list should be a valid number, not 'x'; write one number, or",
        ),
        ("[beds.a]\nwidth_mm = 600\nlength_mm = 450\nseam_mm = [-3, 9]", "beds.a.seam_mm", "equal to 0, not -3"),
        ('[kinds.a]\njobs = ["SL-C*", 3]', "kinds.a.jobs", "value 2 of the list should be a valid string, not 3"),
        ('[intake]\nleave = ["*.ini", 3]', "intake.leave", "line 2: intake.leave: value 2 of the list should be"),
        ("[beds.a]\nwidth_mm = 600", "beds.a.length_mm", "is missing"),
        ('[kinds.a]\njobs = "SL-C*"\nrelif = true', "kinds.a.relif", "did you mean 'relief'"),
        ('[mail]\nform = "a@example.org"', "mail.form", "did you mean 'from'"),
    ],
)
def test_a_mistake_deep_in_a_table_is_told_by_its_whole_key(text: str, key: str, words: str) -> None:
    with pytest.raises(RuleBookError) as caught:
        read_book(text, "studio")
    assert caught.value.key == key
    assert str(caught.value).startswith("studio")
    assert words in str(caught.value)


def test_where_nothing_is_near_what_is_known_is_listed() -> None:
    error = unknown("studio", "crop.zzz", "zzz", ["border_mm", "other"])
    assert "known here: border_mm, other" in str(error)


BOOK = """# beds of the house
based_on = "fine-art"

[beds."bed.a"]   # the wide one
width_mm = 600

length_mm = 450
seam_mm = [
    200,  # left
    400,
]
note = '''
lid = "red"
'''
lid = "red"

[limits]
seam = { doubling = { note = 3 } }
"""


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("based_on", 2),
        ("beds.bed.a.width_mm", 5),
        ("beds.bed.a.length_mm", 7),
        ("beds.bed.a.seam_mm", 8),
        ("beds.bed.a.lid", 15),
        ("beds.bed.a.parallax", 4),
        ("limits.seam.doubling.note", 18),
        ("crop.border_mm", 0),
    ],
)
def test_the_line_of_a_key_is_where_its_value_begins(key: str, line: int) -> None:
    assert line_of(BOOK, key) == line


def test_every_key_of_a_long_book_has_its_line() -> None:
    text = "".join(f"[kinds.k{k}]\njobs = [\n  'a{k}',\n]\nrelief = true\n" for k in range(40))
    for k in range(40):
        assert line_of(text, f"kinds.k{k}.jobs") == 5 * k + 2
        assert line_of(text, f"kinds.k{k}.relief") == 5 * k + 5


@pytest.mark.parametrize("inside", ["\u2028", "\x85", "\u2029"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_what_ends_no_line_of_a_book_is_not_counted_as_one(inside: str, end: str) -> None:
    text = end.join((f"# lent{inside}for the show", "[crop]", "border_mm = -3", ""))
    assert line_of(text, "crop.border_mm") == 3


def test_the_line_of_a_mistake_is_told() -> None:
    with pytest.raises(RuleBookError, match=r"^studio, line 15: beds\.bed\.a\.lid: ") as caught:
        read_book(BOOK.replace("note = '''\nlid = \"red\"\n'''\n", "\n\n\n"), "studio")
    assert caught.value.key == "beds.bed.a.lid"


def test_kinds_that_are_no_table_are_told_so() -> None:
    for text in ("kinds = 3", '[[kinds]]\njobs = "A*"'):
        with pytest.raises(RuleBookError, match="kinds"):
            read_book(text, "studio")


def test_a_bad_limit_of_a_kind_is_told_where_it_stands() -> None:
    text = (
        '[limits.seam]\ndoubling = { note = 1.0 }\n[kinds.oil]\njobs = "O*"\n[kinds.oil.limits.seam]\ndoubling = "x"\n'
    )
    with pytest.raises(RuleBookError, match=r"line 6: kinds\.oil\.limits\.seam\.doubling"):
        read_book(text, "studio")
