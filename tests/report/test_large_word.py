import pytest

from dawnproof.report.large_word import ROWS, large
from dawnproof.report.verdict import Word


@pytest.mark.parametrize("word", list(Word))
def test_every_word_can_be_drawn(word: Word) -> None:
    rows = large(word.value)
    assert len(rows) == ROWS
    assert len(set(map(len, rows))) == 1
    assert len(rows[0]) <= 36
    assert len(rows[0]) >= 2 * len(word.value.replace(" ", "")) or word is Word.NONE


def test_a_letter() -> None:
    assert large("L") == ("█  ", "█  ", "▀▀▀")
