"""A screen's view of the night: new when something is new, and cheap when nothing is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import pytest
from small_studio import make_studio

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import ArrivingRow, EventRow, Progress
from dawnproof.pipeline import watched
from dawnproof.pipeline.night import gather_night
from dawnproof.pipeline.watched import AGAIN_S, WatchedNight
from dawnproof.storage.studio import make_folders, open_studio

AT = datetime(2026, 11, 25, 2, 0, tzinfo=UTC)


@dataclass
class Screen:
    ledger: Ledger
    view: WatchedNight
    gathered: list[int] = field(default_factory=list)
    now_s: float = 0.0
    takes_s: float = 0.0


@pytest.fixture
def screen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Screen]:
    studio = open_studio(make_studio(tmp_path / "prints"))
    make_folders(studio)
    ledger = Ledger.open(studio.ledger_path)
    found = Screen(ledger, WatchedNight(studio, ledger, AT, lambda: found.now_s))
    gather = gather_night

    def counted(*words: object) -> object:
        found.gathered.append(1)
        found.now_s += found.takes_s
        return gather(*words)  # type: ignore[arg-type]

    monkeypatch.setattr(watched, "gather_night", counted)
    yield found
    ledger.close()


def test_nothing_new_is_not_gathered_again_and_is_the_same_night(screen: Screen) -> None:
    first = screen.view.now(AT)
    run = screen.ledger.begin_run(AT.isoformat())
    second = screen.view.now(AT)
    for _ in range(50):
        screen.now_s += 1.0
        screen.ledger.beat(run, AT.isoformat())  # a sign of life is nothing new
        assert screen.view.now(AT) is second
    assert first is not second  # the run was
    assert len(screen.gathered) == 2


def test_a_minute_passes(screen: Screen) -> None:
    screen.view.now(AT)
    screen.now_s += AGAIN_S
    screen.view.now(AT)
    assert len(screen.gathered) == 2


def test_what_is_new_is_there_at_the_next_look(screen: Screen) -> None:
    screen.view.now(AT)
    screen.ledger.say(EventRow(AT.isoformat(), "filed", "SL-0401", "filed"))
    assert [e.job for e in screen.view.now(AT).events] == ["SL-0401"]
    screen.ledger.set_arriving([(b"x", ArrivingRow("x.tif", "bed-a", 1, AT.isoformat(), "settling", ""))])
    assert len(screen.view.now(AT).arriving) == 1
    screen.ledger.set_arriving([(b"x", ArrivingRow("x.tif", "bed-a", 9, AT.isoformat(), "settling", ""))])
    assert screen.view.now(AT).arriving[0].size_bytes == 9


def test_progress_and_alarms_need_no_gathering(screen: Screen) -> None:
    screen.view.now(AT)
    night = screen.view.now(AT, (Progress("SL-0401", "joining", 0.5, 2.0),), ("a disk is missing",))
    assert night.progress[0].share == 0.5
    assert night.alarms == ("a disk is missing",)
    assert len(screen.gathered) == 1


def test_a_long_night_is_gathered_less_often(screen: Screen) -> None:
    screen.takes_s = 0.5
    screen.view.now(AT)
    for number in range(100):  # ten events a second for ten seconds
        screen.now_s += 0.1
        screen.ledger.say(EventRow(AT.isoformat(), "arrived", "", f"{number}"))
        screen.view.now(AT)
    assert len(screen.gathered) <= 3


def test_a_disk_that_answers_again_is_asked_again(screen: Screen) -> None:
    assert screen.view.now(AT, disks=False).space == ()
    assert screen.view.now(AT, disks=True).space
