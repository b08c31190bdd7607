"""Each thing is said once, alarms stand until they are mended, and nothing that listens can stop the daemon."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import EventRow
from dawnproof.service.voice import Voice


@pytest.fixture
def heard() -> list[EventRow]:
    return []


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger.open(tmp_path / "ledger.sqlite3")


def lines(heard: list[EventRow]) -> list[tuple[str, str]]:
    return [(e.kind, e.text) for e in heard]


def test_an_alarm_is_said_when_it_begins_changes_and_ends(ledger: Ledger, heard: list[EventRow]) -> None:
    voice = Voice(ledger, heard.append)
    for text in ("disk full", "disk full", "disk gone", "disk gone"):
        voice.alarm("disk", text)
    assert voice.alarms == ("disk gone",)
    for _ in range(2):
        voice.calm("disk")
    assert lines(heard) == [("alarm", "disk full"), ("alarm", "disk gone"), ("mended", "mended: disk gone")]
    assert [(e.kind, e.text) for e in ledger.events()] == lines(heard)


def test_a_kind_of_alarm_is_over_but_for_some(ledger: Ledger, heard: list[EventRow]) -> None:
    voice = Voice(ledger, heard.append)
    for key in ("root a", "root b", "filing c"):
        voice.alarm(key, f"{key} is wrong")
    voice.calm_all("root ", frozenset({"root b"}))
    assert voice.alarms == ("root b is wrong", "filing c is wrong")


def test_who_no_longer_listens_stops_nothing(ledger: Ledger) -> None:
    def closed(event: EventRow) -> None:
        raise BrokenPipeError

    Voice(ledger, closed).say("filed", "SL-0412", "archived")
    assert [e.job for e in ledger.events()] == ["SL-0412"]


def test_a_ledger_that_cannot_be_written_stops_nothing(
    ledger: Ledger, heard: list[EventRow], caplog: pytest.LogCaptureFixture
) -> None:
    ledger.close()
    with caplog.at_level(logging.ERROR, "dawnproof"):
        Voice(ledger, heard.append).alarm("disk", "disk full")
    assert lines(heard) == [("alarm", "disk full")]
    assert "disk full" in caplog.text
