"""A scan that a person took out of the inbox is said once; a disk that is away, or a filing, takes nothing."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import pytest

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import EventRow, PartName, Place, ScanRow
from dawnproof.pipeline.roots import Roots
from dawnproof.service.departed import Departed
from dawnproof.service.voice import Voice

UTC = "2026-11-24T22:00:00+00:00"


class Away:
    """Folders of which some are not what they were, with all that lies in them."""

    def __init__(self) -> None:
        self.bad: set[Path] = set()

    def sound(self, root: Path) -> bool:
        return not any(root.is_relative_to(bad) for bad in self.bad)


class Inbox:
    """An inbox with one scan that waits, and what is said of it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.away, self.heard = folder / "inbox", Away(), list[EventRow]()
        self.scan = self.folder / "bed-a" / "SL-0412_L.tif"
        self.scan.parent.mkdir(parents=True)
        self.scan.write_bytes(b"pixels")
        self.ledger = Ledger.open(folder / "ledger.sqlite3")
        row = ScanRow(0, "ab" * 32, 6, self.scan.name, PartName("SL-0412", "L"), "bed-a", Place.INBOX, str(self.scan),
                      UTC)  # fmt: skip
        self.number = self.ledger.add_scan(b"SL-0412_L.tif", row)
        voice = Voice(self.ledger, self.heard.append)
        self.departed = Departed(self.folder, self.ledger, cast(Roots, self.away), voice)

    def look(self, *moving: int) -> None:
        self.departed.look(lambda: frozenset(moving))

    @property
    def place(self) -> Place:
        return self.ledger.all_scans()[0].place


@pytest.fixture
def inbox(tmp_path: Path) -> Inbox:
    return Inbox(tmp_path)


def test_a_scan_that_lies_there_is_left_alone(inbox: Inbox) -> None:
    inbox.look()
    assert (inbox.place, inbox.heard) == (Place.INBOX, [])


def test_a_scan_that_was_taken_away_is_said_once_and_no_longer_counted(inbox: Inbox) -> None:
    inbox.scan.unlink()
    inbox.look()
    inbox.look()
    assert inbox.place is Place.GONE
    assert inbox.ledger.waiting_scans() == ()
    assert [(e.kind, e.job) for e in inbox.heard] == [("gone", "SL-0412")]
    assert "SL-0412_L.tif was taken out of the inbox" in inbox.heard[0].text


@pytest.mark.parametrize("which", ["inbox", "bed"])
def test_a_folder_that_is_not_what_it_was_proves_nothing(inbox: Inbox, which: str) -> None:
    """An unmounted disk leaves an empty folder: to call its scans gone would lose them from their jobs."""
    inbox.scan.unlink()
    inbox.away.bad = {inbox.folder if which == "inbox" else inbox.scan.parent}
    inbox.look()
    assert (inbox.place, inbox.heard) == (Place.INBOX, [])
    inbox.away.bad = set()
    inbox.look()
    assert inbox.place is Place.GONE


def test_a_scan_that_a_filing_moves_is_not_gone(inbox: Inbox) -> None:
    inbox.scan.unlink()
    inbox.look(inbox.number)
    assert (inbox.place, inbox.heard) == (Place.INBOX, [])


def test_a_scan_that_is_back_when_the_filings_are_known_is_not_gone(inbox: Inbox) -> None:
    inbox.scan.unlink()

    def moving() -> frozenset[int]:
        inbox.scan.write_bytes(b"pixels")
        return frozenset()

    inbox.departed.look(moving)
    assert (inbox.place, inbox.heard) == (Place.INBOX, [])
