"""The ledger: what goes in comes out, moves are entered once, plans survive a restart, names may hold any bytes."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

import pytest

from dawnproof.errors import LedgerError, UsageError
from dawnproof.ledger.ledger import Ledger
from dawnproof.model import (
    ArrivingRow,
    Box,
    Crop,
    Decision,
    EventRow,
    Filing,
    FilingStep,
    Finding,
    JobRow,
    JobState,
    Level,
    Measured,
    Needs,
    Outcome,
    PartName,
    Place,
    Reading,
    ScanRow,
    SeamSample,
    StayingRow,
    StepKind,
    Where,
)

UTC = "2026-11-24T22:00:00+00:00"


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger.open(tmp_path / "ledger.sqlite3")


def scan(home: str = "/inbox/SL-0412_L.tif", sha: str = "a" * 64, job: str = "SL-0412") -> ScanRow:
    where = Where(1.0, 2.0, 3.0, 4.0, (SeamSample(1.0, 2.5, None, 0.9), SeamSample(2.0, None, None, 0.0)))
    doubling = Reading("seam", "doubling", 2.5, "px", 0.9, where)
    readings = (doubling, Reading("encoding", "profile", None, "text", why="none"))
    crop = Crop(Box(1, 2, 3, 4), 0.1, Box(2, 3, 1, 1), ((1.0, 2.0), (3.0, 4.0)))
    measured = Measured(sha, 10, 3, 4, 3, 16, 400.0, None, "none", "", "", readings, crop, b"\x89PNG\x00")
    findings = (Finding("seam", "doubling", Level.FAULT, Needs.ARTWORK, "text", "advice", where),)
    name = PartName(job, "L")
    return ScanRow(0, sha, 10, "SL-0412_L.tif", name, "bed-a", Place.INBOX, home, UTC, "", measured, findings)


def test_a_scan_comes_out_as_it_went_in(ledger: Ledger) -> None:
    row = scan()
    number = ledger.add_scan(b"SL-0412_L.tif", row)
    (found,) = ledger.scans_of("SL-0412")
    assert found.id == number
    assert (found.measured, found.findings, found.name) == (row.measured, row.findings, row.name)


def test_a_move_is_entered_once(ledger: Ledger) -> None:
    number = ledger.add_scan(b"x", scan())
    for _ in range(2):
        ledger.moved(number, Place.ARCHIVE, "/archive/x.tif", "/inbox/x.tif", UTC)
    assert [m.target for m in ledger.moves_of("SL-0412")] == ["/archive/x.tif"]
    assert ledger.scans_at(Place.ARCHIVE)[0].home == "/archive/x.tif"
    assert ledger.scans_at(Place.INBOX) == ()


def test_homes_may_hold_bytes_that_are_no_utf8(ledger: Ledger) -> None:
    home = os.fsdecode(b"/inbox/\xff\xfe.tif")
    number = ledger.add_scan(b"\xff\xfe.tif", scan(home))
    found = ledger.scan_at_home(Path(home))
    assert found is not None
    assert found.id == number
    step = FilingStep(StepKind.MOVE_SCAN, home, home + "2", number, "a" * 64, Place.UNPLACED)
    ledger.begin_filing(Filing("", (step,), copies=(("b" * 64, home),)), UTC)
    assert ledger.open_filings()[0][1].steps == (step,)


def test_an_open_plan_is_found_after_a_restart_and_ends_once(tmp_path: Path) -> None:
    first = Ledger.open(tmp_path / "l.sqlite3")
    after = JobRow("SL-0412", JobState.ARCHIVED, 1, Outcome.ARCHIVE)
    plan = Filing("SL-0412", (FilingStep(StepKind.MAKE_FOLDER, target="/x"),), after)
    number = first.begin_filing(plan, UTC)
    first.close()
    second = Ledger.open(tmp_path / "l.sqlite3")
    assert second.open_filings() == ((number, plan),)
    second.end_filing(number, plan, UTC)
    assert second.open_filings() == ()
    assert second.job("SL-0412") == after


def test_together_is_all_or_nothing(ledger: Ledger) -> None:
    def half() -> None:
        with ledger.together():
            ledger.put_job(JobRow("SL-0412", JobState.WAITING), UTC)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        half()
    assert ledger.jobs() == ()


def test_jobs_by_state(ledger: Ledger) -> None:
    ledger.put_job(JobRow("SL-0412", JobState.WAITING), UTC)
    ledger.put_job(JobRow("SL-0413", JobState.ARCHIVED), UTC)
    assert [j.job for j in ledger.jobs(JobState.WAITING)] == ["SL-0412"]
    assert len(ledger.jobs()) == 2


def test_decisions_events_arrivals_and_runs(ledger: Ledger) -> None:
    decision = Decision("Noor", "accept", "margin", UTC)
    ledger.decide("SL-0412", decision)
    assert ledger.decisions_of("SL-0412") == (decision,)
    for number in range(5):
        ledger.say(EventRow(f"2026-11-24T22:0{number}", "measured", "", str(number)))
    assert [e.text for e in ledger.events("2026-11-24T22:02", 2)] == ["3", "4"]
    ledger.set_arriving([(b"/inbox/\xff", ArrivingRow("x", "bed-a", 1, UTC, "settling"))])
    ledger.set_arriving([(b"/inbox/y", ArrivingRow("y", "bed-a", 1, UTC, "settling"))])
    assert [a.file for a in ledger.arriving()] == ["y"]
    link = StayingRow("/inbox/link", "link", "a symbolic link", "never touched")
    assert [ledger.stays(link, UTC), ledger.stays(link, UTC)] == [True, False]
    run = ledger.begin_run(UTC)
    ledger.end_run(run, UTC)
    assert ledger.runs()[0].ended_utc == UTC


def test_reading_needs_a_ledger_and_never_writes(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no ledger yet"):
        Ledger.read(tmp_path / ".dawnproof" / "ledger.sqlite3")
    Ledger.open(tmp_path / "l.sqlite3").close()
    reader = Ledger.read(tmp_path / "l.sqlite3")
    with pytest.raises(LedgerError):
        reader.put_job(JobRow("SL-0412", JobState.WAITING), UTC)


def test_migrations_run_once_and_commits_are_synchronous(tmp_path: Path) -> None:
    for _ in range(2):
        Ledger.open(tmp_path / "l.sqlite3").close()
    db = sqlite3.connect(tmp_path / "l.sqlite3")
    assert db.execute("SELECT count(*) FROM migrations").fetchone()[0] >= 1
    assert db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    ledger = Ledger.open(tmp_path / "l.sqlite3")
    # FULL = 2: NORMAL is consistent but forgets what was committed before a power cut
    assert ledger._run("PRAGMA synchronous").fetchone()[0] == 2
