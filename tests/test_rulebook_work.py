"""[work]: where other computers are, said wrong, is said back with book, key and mend."""

from __future__ import annotations

import pytest

from dawnproof.errors import RuleBookError
from dawnproof.rulebook import read_book

DASK = '[work]\nengine = "dask"\n'


def test_the_shipped_books_work_alone() -> None:
    work = read_book("", "studio").work
    assert (work.engine, work.scheduler, work.scheduler_file, work.paths) == ("local", None, None, {})


@pytest.mark.parametrize("address", ["tcp://desk:8786", "tls://10.0.0.1:8786", "tcp://[fd00::1]:8786"])
def test_a_scheduler_and_the_mounts(address: str) -> None:
    book = read_book(f'{DASK}scheduler = "{address}"\n[work.paths]\n"/srv/prints" = "/mnt/prints"\n', "studio")
    assert book.work.scheduler == address
    assert book.work.paths == {"/srv/prints": "/mnt/prints"}
    assert ("work.engine", "dask", "studio") in list(book.values())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (DASK, 'engine = "dask" needs'),
        (DASK + 'scheduler = "desk"', "is no scheduler's address"),
        (DASK + 'scheduler = "tcp://desk:8786/x"', "is no scheduler's address"),
        (DASK + 'scheduler = "tcp://desk:8786"\nscheduler_file = "/srv/s.json"', "keep one of the two"),
        (DASK + 'schedular = "tcp://desk:8786"', "did you mean 'scheduler'"),
        ('[work]\nengine = "ray"', "'local' or 'dask'"),
        ("[work]\nsilence_s = 0", "greater than 0"),
        (DASK + 'scheduler = "tcp://desk:8786"\npaths = { "prints" = "/mnt/prints" }', "is no folder from the root on"),
        (DASK + 'scheduler = "tcp://desk:8786"\npaths = { "/srv" = "/mnt/../etc" }', "is no folder from the root on"),
        (DASK + 'scheduler = "tcp://desk:8786"\npaths = { "/srv" = 3 }', r"work\.paths\./srv"),
    ],
)
def test_what_cannot_be_used_names_book_key_and_mend(text: str, said: str) -> None:
    with pytest.raises(RuleBookError, match=said) as raised:
        read_book(text, "studio")
    assert "studio" in str(raised.value)
    assert "work" in str(raised.value)
