"""A file becomes a scan with all that follows from it, or nothing does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from faults import evening
from small_studio import make_studio

from dawnproof.errors import NotWhole
from dawnproof.ledger.ledger import Ledger
from dawnproof.model import EventRow, JobState, Outcome, Place, ScanRow
from dawnproof.naming import compile_rule
from dawnproof.pipeline.intake import arrived
from dawnproof.service.entering import enter
from dawnproof.service.voice import Voice
from dawnproof.storage.studio import make_folders, open_studio

ONE, TWO = "1" * 64, "2" * 64


class Door:
    """Lets files in, damaged ones, so that nothing needs to be measured."""

    def __init__(self, root: Path) -> None:
        self.studio = open_studio(make_studio(root))
        make_folders(self.studio)
        self.ledger = Ledger.open(self.studio.ledger_path)
        self.heard: list[EventRow] = []
        self._voice = Voice(self.ledger, self.heard.append)
        self._rule = compile_rule(self.studio.book.naming.pattern, "fine-art")

    def enter(self, name: str, sha256: str = ONE) -> ScanRow | None:
        path = self.studio.inbox / name
        path.write_bytes(b"half of a scan")
        file = arrived(self.studio, self.ledger, self._rule, path, None, {})
        with self.ledger.together():
            return enter(self.studio, self.ledger, self._voice, file, None, NotWhole("cut off"), sha256)


@pytest.fixture
def door(tmp_path: Path) -> Door:
    return Door(tmp_path / "prints")


def test_a_scan_has_its_row_and_is_not_entered_twice(door: Door) -> None:
    row = door.enter("SL-0412_L.tif")
    assert row is not None
    assert (row.place, row.home, row.sha256) == (Place.INBOX, str(door.studio.inbox / "SL-0412_L.tif"), ONE)
    assert door.enter("SL-0412_L.tif") is None, "after a restart the same file stands there still"
    assert len(door.ledger.all_scans()) == 1


def test_one_that_was_overwritten_is_gone_and_that_is_said(door: Door) -> None:
    door.enter("SL-0412_L.tif", ONE)
    door.enter("SL-0412_L.tif", TWO)
    assert [(r.sha256, r.place) for r in door.ledger.all_scans()] == [(ONE, Place.GONE), (TWO, Place.INBOX)]
    assert any("was overwritten in the inbox" in e.text and e.job == "SL-0412" for e in door.heard)


def test_one_that_was_away_is_the_same_scan_again(door: Door) -> None:
    first = door.enter("SL-0412_L.tif")
    assert first is not None
    door.ledger.moved(first.id, Place.GONE, first.home, first.home, "2026-11-24T20:00:00+00:00")
    back = door.enter("SL-0412_L.tif")
    assert back is not None
    assert (back.id, back.place) == (first.id, Place.INBOX)


def test_the_raw_bytes_of_a_name_stay_in_the_ledger(door: Door) -> None:
    """Shown harmlessly, kept as they are: whoever looks for the file must find it."""
    name = b"\xff\x1b[2J SL.tif"
    row = door.enter(name.decode("utf-8", "surrogateescape"))
    assert row is not None
    assert row.file == "\\xff\\x1b[2J SL.tif"
    with door.ledger.together():
        (raw,) = door.ledger._row("SELECT raw_name FROM scans WHERE id = ?", (row.id,))
    assert raw == name
    assert Path(row.home).name.encode("utf-8", "surrogateescape") == name


def test_nothing_of_it_is_kept_when_it_breaks_off(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    door.enter("SL-0412_L.tif", ONE)
    monkeypatch.setattr(door.ledger, "add_scan", broken)
    with pytest.raises(RuntimeError, match="the power"):
        door.enter("SL-0412_L.tif", TWO)
    assert [(r.sha256, r.place) for r in door.ledger.all_scans()] == [(ONE, Place.INBOX)], "not even said to be gone"


def broken(*given: object) -> int:
    raise RuntimeError("the power")


@pytest.mark.parametrize(
    ("state", "after"), [(JobState.ARCHIVED, JobState.ARCHIVED), (JobState.UNFINISHED, JobState.WAITING)]
)
def test_a_job_that_gets_a_scan_is_looked_at_anew(state: JobState, after: JobState, tmp_path: Path) -> None:
    """What was decided of it held for the scans of then."""
    studio = evening.studio_at(tmp_path / "studio")
    evening.scan(studio.inbox / "SL-0001_L.tif", 1, "L")
    with evening.Living(studio.root) as daemon:
        daemon.until_said("SL-0001_L.tif: L measured")
    ledger = Ledger.open(studio.ledger_path)
    row = ledger.job("SL-0001")
    assert row is not None
    outcome = Outcome.ARCHIVE if state is JobState.ARCHIVED else None
    ledger.put_job(replace(row, state=state, outcome=outcome, accepted=True, said_unfinished=True), row.last_utc)
    ledger.close()
    evening.scan(studio.inbox / "SL-0001_L_t2.tif", 1, "L", grain=1)
    with evening.Living(studio.root) as daemon:
        daemon.until_said("SL-0001_L_t2.tif: L")
    ledger = Ledger.read(studio.ledger_path)
    now = ledger.job("SL-0001")
    ledger.close()
    assert now is not None
    assert (now.state, now.accepted, now.said_unfinished) == (after, False, False)
