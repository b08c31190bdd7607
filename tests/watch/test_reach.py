"""A folder that hangs keeps only its own thread."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from dawnproof.watch.reach import Answer, Reach

GOOD, BAD, WORSE = Path("/good"), Path("/bad"), Path("/worse")


class Folders:
    """Folders that hang until they are let go; each answer counts."""

    def __init__(self) -> None:
        self.go = {folder: threading.Event() for folder in (GOOD, BAD, WORSE)}
        self.go[GOOD].set()
        self.asked: list[Path] = []

    def ask(self, folder: Path) -> int | None:
        self.asked.append(folder)
        self.go[folder].wait()
        return len(self.asked)


@pytest.fixture
def folders() -> Iterator[Folders]:
    made = Folders()
    yield made
    for event in made.go.values():
        event.set()


def test_every_look_is_a_new_one(folders: Folders) -> None:
    reach = Reach(folders.ask)
    assert [reach.look(GOOD) for _ in range(3)] == [Answer(True, 1), Answer(True, 2), Answer(True, 3)]


def test_one_that_hangs_is_waited_for_once(folders: Folders) -> None:
    reach = Reach(folders.ask, patience_s=0.2)
    begun = time.monotonic()
    assert reach.look(BAD) == Answer(False, None)
    first_s = time.monotonic() - begun
    assert 0.15 < first_s < 2.0
    begun = time.monotonic()
    assert not any(reach.look(BAD).answers for _ in range(50))
    assert time.monotonic() - begun < first_s, "fifty more looks together cost less than the first"
    assert folders.asked == [BAD], "and no second question is put to it"
    assert reach.look(GOOD).answers, "another folder answers meanwhile"


def test_several_that_hang_are_waited_for_side_by_side(folders: Folders) -> None:
    reach = Reach(folders.ask, patience_s=0.4)
    begun = time.monotonic()
    found = reach.look_at_all([BAD, GOOD, WORSE])
    assert time.monotonic() - begun < 0.75
    assert [folder for folder, answer in found.items() if not answer.answers] == [BAD, WORSE]


def test_it_is_asked_again_when_it_answers(folders: Folders) -> None:
    reach = Reach(folders.ask, patience_s=0.1)
    assert not reach.look(BAD).answers
    folders.go[BAD].set()
    until = time.monotonic() + 5
    while not reach.look(BAD).answers:
        assert time.monotonic() < until
    assert reach.look(BAD).found == len(folders.asked) > 1


def test_closed_it_leaves_no_threads_but_the_one_that_hangs(folders: Folders) -> None:
    before = set(threading.enumerate())
    reach = Reach(folders.ask, patience_s=0.1)
    reach.look_at_all([GOOD, BAD])
    assert _named_since(before) == {"asks good", "asks bad"}
    reach.close()
    until = time.monotonic() + 5
    while _named_since(before) != {"asks bad"}:
        assert time.monotonic() < until
    folders.go[BAD].set()
    while _named_since(before):
        assert time.monotonic() < until


def _named_since(before: set[threading.Thread]) -> set[str]:
    return {thread.name for thread in set(threading.enumerate()) - before}
