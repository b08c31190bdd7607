"""A loop that is held up is said by another thread, once, and over when it goes on."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import EventRow
from dawnproof.service import rounds
from dawnproof.service.rounds import Rounds
from dawnproof.service.voice import Voice


@pytest.fixture
def heard() -> list[EventRow]:
    return []


@pytest.fixture
def voice(tmp_path: Path, heard: list[EventRow]) -> Voice:
    return Voice(Ledger.open(tmp_path / "ledger.sqlite3"), heard.append)


def test_a_step_that_takes_too_long_is_said_once_and_is_over(
    voice: Voice, heard: list[EventRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rounds, "LOOK_S", 0.02)
    told = threading.Event()
    looking = Rounds(voice, told.set, late_s=0.1)
    looking.begin()
    with looking.step("files"):
        assert told.wait(5)
        time.sleep(0.2)
        assert "".join(voice.alarms).startswith("the daemon waits for the files in the inbox: ")
        assert len(heard) == 1
    assert not voice.alarms
    assert [e.kind for e in heard] == ["alarm", "mended"]
    looking.end()


def test_quick_steps_and_pauses_are_no_matter(
    voice: Voice, heard: list[EventRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rounds, "LOOK_S", 0.02)
    looking = Rounds(voice, late_s=0.3)
    looking.begin()
    for _ in range(5):
        with looking.step("inbox"):
            time.sleep(0.01)
        time.sleep(0.1)
    assert heard == []
    looking.end()


def test_a_step_that_fails_is_over_too(voice: Voice) -> None:
    looking = Rounds(voice)
    voice.alarm(rounds.KEY, "held")
    with pytest.raises(OSError, match="gone"), looking.step("inbox"):
        raise OSError("gone")
    assert not voice.alarms
