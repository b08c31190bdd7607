"""Names made safe for showing."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnproof.model import shown


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("SL-0412_L.tif", "SL-0412_L.tif"),
        ("é雪 (2).tif", "é雪 (2).tif"),
        ("a\x1b[2J\x07.tif", r"a\x1b[2J\x07.tif"),
        ("a\n\t\x7f\x9b.tif", r"a\x0a\x09\x7f\x9b.tif"),
        ("\u202efit.exe\u2066", r"\u202efit.exe\u2066"),
        ("a\u2028b\u200b\ufeff", r"a\u2028b\u200b\ufeff"),
        ("\U000e0041\U0010ffff", r"\U000e0041\U0010ffff"),
        ("a\udcff.tif", r"a\xff.tif"),
        ("a\ud800.tif", r"a\ud800.tif"),
        (b"a\xff\xc3\xa9\x1b.tif", r"a\xffé\x1b.tif"),
        ("[bold red]x[/].tif", "[bold red]x[/].tif"),
        ("", ""),
    ],
)
def test_names_are_shown_harmlessly(name: str | bytes, safe: str) -> None:
    assert shown(name) == safe


@given(st.text() | st.binary())
def test_nothing_that_steers_a_terminal_is_left(name: str | bytes) -> None:
    text = shown(name)
    text.encode("utf-8")
    assert not [c for c in text if unicodedata.category(c)[0] == "C" or unicodedata.category(c) in ("Zl", "Zp")]
    assert shown(text) == text
