import pytest
from jinja2 import UndefinedError

from dawnproof.report.paper import render


def test_whatever_is_inserted_is_escaped_and_shown_harmlessly() -> None:
    page = render("scan_again.html", title="<b>\x1b[2J\u202e", groups=[], before=(), cautions=())
    assert "<title>&lt;b&gt;\\x1b[2J\\u202e</title>" in page


def test_a_missing_value_is_an_error() -> None:
    with pytest.raises(UndefinedError):
        render("scan_again.html", title="x")


def test_the_style_is_in_the_page() -> None:
    page = render("scan_again.html", title="x", groups=[], before=(), cautions=())
    assert "prefers-color-scheme: dark" in page
    assert "@page" in page
    assert 'rel="stylesheet"' not in page
