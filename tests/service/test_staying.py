"""Files that stay are named once, together, and forgotten when they are gone."""

from __future__ import annotations

from pathlib import Path

import pytest

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import EventRow, StayingRow
from dawnproof.service.staying import MOST_SAID, Staying
from dawnproof.service.voice import Voice

INBOX = Path("/prints/inbox")


@pytest.fixture
def heard() -> list[EventRow]:
    return []


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger.open(tmp_path / "ledger.sqlite3")


@pytest.fixture
def staying(ledger: Ledger, heard: list[EventRow]) -> Staying:
    return Staying(ledger, Voice(ledger, heard.append))


def link(name: str, reason: str = "a symbolic link", kind: str = "never touched") -> StayingRow:
    return StayingRow(str(INBOX / name), name, reason, kind)


def test_seen_at_every_look_and_said_once(staying: Staying, ledger: Ledger, heard: list[EventRow]) -> None:
    for _ in range(3):
        staying.stay(link("a.tif"))
        staying.enter()
    assert [e.text for e in heard] == ["a.tif stays where it is: a symbolic link"]
    staying.stay(link("a.tif", "it cannot be read"))
    staying.enter()
    assert [row.reason for row in ledger.staying()] == ["it cannot be read"], "the ledger has the reason of now"
    assert len(heard) == 1


def test_a_flood_is_a_few_lines(staying: Staying, ledger: Ledger, heard: list[EventRow]) -> None:
    for number in range(MOST_SAID + 30):
        staying.stay(link(f"{number}.tif"))
    staying.enter()
    assert len(heard) == MOST_SAID + 1
    assert heard[-1].text.startswith("30 more files stay")
    assert len(ledger.staying()) == MOST_SAID + 30


def test_only_those_that_are_gone_are_forgotten(staying: Staying, ledger: Ledger) -> None:
    for name in ("gone.tif", "there.tif", "troubled.tif", "bed-b/away.tif"):
        staying.stay(link(name))
    staying.stay(StayingRow("jobs.csv: line 3", "jobs.csv", "line 3", "job list"))
    staying.enter()
    staying.reasons_due = False
    staying.forget(INBOX, {INBOX / "there.tif"}, {str(INBOX / "troubled.tif")}, {INBOX / "bed-b"})
    assert {row.file for row in ledger.staying()} == {"there.tif", "troubled.tif", "bed-b/away.tif", "jobs.csv"}
    assert staying.reasons_due


def test_what_is_left_alone_by_rule_is_no_matter_for_the_reasons(staying: Staying) -> None:
    staying.reasons_due = False
    staying.stay(link("scan.log", "named by *.log in [intake] leave", "left alone"))
    assert not staying.reasons_due


def test_after_a_start_it_is_known_already(staying: Staying, ledger: Ledger, heard: list[EventRow]) -> None:
    staying.stay(link("a.tif"))
    staying.enter()
    again = Staying(ledger, Voice(ledger, heard.append))
    again.stay(link("a.tif"))
    again.enter()
    assert len(heard) == 1
