"""Short answers stay short: they are the same as the long ones, and read no table from end to end."""

from __future__ import annotations

from pathlib import Path

import pytest

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import JobRow, JobState, PartName, Place, ScanRow

WHEN = "2026-11-24T18:00:00+00:00"


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger.open(tmp_path / "ledger.sqlite3")


def scan(number: int, place: Place) -> ScanRow:
    name = PartName(f"SL-{number:04d}", "whole")
    return ScanRow(0, f"{number:064x}", 10, f"{number}.tif", name, "bed-a", place, f"/{number}.tif", WHEN)


def test_spellings_follow_what_is_written(ledger: Ledger) -> None:
    assert ledger.spellings() == {}
    ledger.put_job(JobRow("SL-0401", JobState.WAITING), WHEN)
    assert list(ledger.spellings().values()) == ["SL-0401"]
    ledger.put_job(JobRow("SL-0401", JobState.ARCHIVED), WHEN)
    ledger.put_job(JobRow("sl 0402", JobState.WAITING), WHEN)
    assert list(ledger.spellings().values()) == ["SL-0401", "sl 0402"]


def test_spellings_are_read_on_and_not_again(ledger: Ledger) -> None:
    for number in range(50):
        ledger.put_job(JobRow(f"SL-{number:04d}", JobState.WAITING), WHEN)
    ledger.spellings()
    asked: list[str] = []
    ledger._db.set_trace_callback(asked.append)
    ledger.spellings()
    (sql,) = asked
    assert "rowid > 50" in sql


def test_spellings_of_a_write_that_came_to_nothing_hide_no_later_job(ledger: Ledger) -> None:
    ledger.put_job(JobRow("SL-0401", JobState.WAITING), WHEN)

    def break_off() -> None:
        with ledger.together():
            ledger.put_job(JobRow("SL-0402", JobState.WAITING), WHEN)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        break_off()
    ledger.put_job(JobRow("SL-0403", JobState.WAITING), WHEN)
    assert list(ledger.spellings().values()) == ["SL-0401", "SL-0403"]


def test_the_last_scans_are_those_of_the_table_read_from_end_to_end(ledger: Ledger) -> None:
    places = (Place.INBOX, Place.ARCHIVE, Place.REWORK, Place.UNPLACED)
    for number in range(60):
        ledger.add_scan(b"x", scan(number, places[number * 7 % 4]))
    wanted = {Place.INBOX, Place.ARCHIVE, Place.REWORK}
    every = [row.id for row in ledger.all_scans() if row.place in wanted]
    for most in (1, 5, 44, 100):
        assert [row.id for row in ledger.last_scans(most, *wanted)] == every[-most:]


def test_no_place_is_sorted_whole_for_its_last_scans(ledger: Ledger) -> None:
    seen: list[str] = []
    ledger._db.set_trace_callback(seen.append)
    ledger.last_scans(5, Place.INBOX, Place.ARCHIVE)
    ledger._db.set_trace_callback(None)
    plan = [str(row[3]) for row in ledger._db.execute("EXPLAIN QUERY PLAN " + seen[-1])]
    inner = [step for step in plan if "scans_place" in step]
    assert len(inner) == 2, plan
    assert not any("SCAN scans" in step for step in plan), plan
