"""A mistake is told by the book that holds it, its whole key, and the word that was probably meant."""

from __future__ import annotations

import pytest

from dawnproof.errors import RuleBookError
from dawnproof.rulebook import read_book
from dawnproof.rulebook.mistakes import unknown


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        ("[beds.a]\nwidth_mm = 600\nlength_mm = 450\nseam = 300", "beds.a.seam", "did you mean 'seam_mm'"),
        ('[beds.a]\nwidth_mm = 600\nlength_mm = 450\nlid = "red"', "beds.a.lid", "'white', 'grey', 'black' or 'open'"),
        ('[beds.a]\nwidth_mm = 600\nlength_mm = 450\nseam_mm = "x"', "beds.a.seam_mm", "not 'x'"),
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
