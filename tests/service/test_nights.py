"""The summary at its hour: once, although somebody asked for one in the night, and again where writing failed."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pytest
from small_studio import make_studio

from dawnproof.errors import MoveError
from dawnproof.ledger.ledger import Ledger
from dawnproof.service.nights import RETRY_S, NightWork
from dawnproof.service.post import Post
from dawnproof.service.voice import Voice
from dawnproof.storage.studio import Studio, make_folders, open_studio

DAY = "2026-11-25"


@dataclass
class Watched:
    studio: Studio
    night: NightWork

    @property
    def text(self) -> Path:
        return self.studio.morning / f"{DAY}.txt"


@pytest.fixture
def watched(tmp_path: Path) -> Iterator[Watched]:
    studio = open_studio(make_studio(tmp_path / "prints"))
    make_folders(studio)
    ledger = Ledger.open(studio.ledger_path)
    voice = Voice(ledger, lambda event: None)
    post = Post(studio, ledger, voice)
    yield Watched(studio, NightWork(studio, ledger, voice, ThreadPoolExecutor(1), lambda: None, post))
    ledger.close()


def at(hour: int) -> datetime:
    return datetime(2026, 11, 25, hour, 5).astimezone()


def written_at(path: Path, hour: int) -> None:
    path.write_text("asked for", "utf-8")
    os.utime(path, (at(hour).timestamp(), at(hour).timestamp()))


def test_nothing_before_the_hour(watched: Watched) -> None:
    watched.night.look(0.0, at(5), quiet=False)
    assert not watched.text.exists()


def test_one_asked_for_in_the_night_is_not_the_mornings(watched: Watched) -> None:
    written_at(watched.text, 2)
    watched.night.look(0.0, at(6), quiet=False)
    assert watched.text.read_text("utf-8") != "asked for"


def test_one_asked_for_after_the_hour_stays(watched: Watched) -> None:
    written_at(watched.text, 7)
    watched.night.look(0.0, at(8), quiet=False)
    assert watched.text.read_text("utf-8") == "asked for"


def test_a_summary_that_could_not_be_written_is_tried_again(watched: Watched) -> None:
    watched.studio.morning.rmdir()
    watched.studio.morning.write_text("in the way")
    with pytest.raises((MoveError, OSError)):
        watched.night.look(0.0, at(6), quiet=False)
    watched.studio.morning.unlink()
    watched.night.look(1.0, at(6), quiet=False)
    assert not watched.text.exists()  # not at every turn
    watched.night.look(RETRY_S, at(6), quiet=False)
    assert watched.text.exists()
