"""The only SQL. One writer (the daemon), any number of readers; every change is durable when the call returns."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ..errors import LedgerError, UsageError
from ..model import Decision, Filing, Finding, JobRow, JobState, Measured, MoveRow, PartName, Place, ScanRow
from .letters import Letters
from .night import NightLines
from .schema import MIGRATIONS
from .short import ShortAnswers
from .texts import (
    SCAN,
    filing_in,
    filing_out,
    findings_out,
    job_in,
    job_out,
    measured_out,
    part_out,
    scan_in,
)


class Ledger(ShortAnswers, Letters, NightLines):
    """The record of every file seen, every reading, every move and every decision."""

    @classmethod
    def open(cls, path: Path) -> Ledger:
        """Open for writing, making or migrating it. LedgerError where that cannot be done."""
        try:
            db = sqlite3.connect(path, isolation_level=None, timeout=10, check_same_thread=False)
            db.execute("PRAGMA journal_mode = WAL")
            db.execute("PRAGMA synchronous = FULL")
            db.execute("PRAGMA foreign_keys = ON")
            _migrate(db)
        except sqlite3.Error as error:
            raise LedgerError(
                f"the ledger {path} cannot be opened: {error}; check space and rights of its folder"
            ) from error
        return cls(db)

    @classmethod
    def read(cls, path: Path) -> Ledger:
        """Open for reading only. UsageError where there is no ledger."""
        if not path.is_file():
            raise UsageError(f"{path.parent.parent} has no ledger yet; start `dawnproof watch` there first")
        try:
            db = sqlite3.connect(f"file:{path.as_posix()}?mode=ro", uri=True, isolation_level=None, timeout=10)
            db.execute("SELECT count(*) FROM jobs").fetchone()
        except sqlite3.Error as error:
            raise LedgerError(f"the ledger {path} cannot be read: {error}") from error
        return cls(db)

    # scans

    def add_scan(self, raw_name: bytes, row: ScanRow) -> int:
        """Enter a scan with its home; gives its number."""
        measured, thumb = measured_out(row.measured)
        cursor = self._run(
            "INSERT INTO scans (sha256, bytes, raw_name, file, part_name, job, bed, place, home, reason, admitted_utc,"
            " measured, thumb, findings) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
            (row.sha256, row.size_bytes, raw_name, row.file, part_out(row.name), row.name.job if row.name else None,
             row.bed, row.place.value, os.fsencode(row.home), row.reason, row.admitted_utc, measured, thumb,
             findings_out(row.findings)),
        )  # fmt: skip
        return int(cursor.lastrowid or 0)

    def scans_of(self, job: str) -> tuple[ScanRow, ...]:
        """All scans that carry this job number, closed ones too, in order of admission."""
        return self._scans("WHERE job = ? ORDER BY id", (job,))

    def scans_at(self, *places: Place) -> tuple[ScanRow, ...]:
        """All scans that live in these places."""
        marks = ",".join("?" * len(places))
        return self._scans(f"WHERE place IN ({marks}) ORDER BY id", tuple(p.value for p in places))

    def scans_with(self, sha256: str) -> tuple[ScanRow, ...]:
        """All scans with these bytes."""
        return self._scans("WHERE sha256 = ? ORDER BY id", (sha256,))

    def scan_at_home(self, home: Path) -> ScanRow | None:
        """The scan whose home is this path."""
        return next(iter(self._scans("WHERE home = ? AND place <> 'gone'", (os.fsencode(home),))), None)

    def all_scans(self) -> tuple[ScanRow, ...]:
        """Every scan that ever entered."""
        return self._scans("ORDER BY id", ())

    def last_scans(self, most: int, *places: Place) -> tuple[ScanRow, ...]:
        """The scans of these places that came last, oldest first."""
        # a search of each place from its end: ordered by the index, where one over all places would sort them whole
        each = "SELECT id FROM (SELECT id FROM scans WHERE place = ? ORDER BY id DESC LIMIT ?)"
        last = " UNION ALL ".join([each] * len(places))
        values = [value for place in places for value in (place.value, most)]
        return self._scans(f"WHERE id IN ({last}) ORDER BY id DESC LIMIT ?", (*values, most))[::-1]

    def gone_scan(self, home: Path, sha256: str) -> ScanRow | None:
        """The scan with these bytes that was said to have left this very place."""
        where = "WHERE home = ? AND sha256 = ? AND place = 'gone' ORDER BY id DESC"
        return next(iter(self._scans(where, (os.fsencode(home), sha256))), None)

    def scans_since(self, since_utc: str) -> tuple[ScanRow, ...]:
        """Scans admitted since then, wherever they live now."""
        return self._scans("WHERE admitted_utc >= ? ORDER BY id", (since_utc,))

    def job_numbers(self) -> frozenset[str]:
        """Numbers of all jobs of which a scan ever came under its name."""
        unplaced = Place.UNPLACED.value
        rows = self._rows("SELECT DISTINCT job FROM scans WHERE job IS NOT NULL AND place <> ?", (unplaced,))
        return frozenset(r[0] for r in rows)

    def set_findings(self, scan: int, findings: Sequence[Finding]) -> None:
        """Findings of one scan, after judging."""
        self._run("UPDATE scans SET findings = ? WHERE id = ?", (findings_out(findings), scan))

    def set_measured(self, scan: int, measured: Measured) -> None:
        """A scan was measured again, as another part than before."""
        text, thumb = measured_out(measured)
        self._run("UPDATE scans SET measured = ?, thumb = ?, findings = '[]' WHERE id = ?", (text, thumb, scan))

    def rename_scan(self, scan: int, name: PartName, place: Place) -> None:
        """A person gave an unplaced scan its name."""
        self._run("UPDATE scans SET part_name = ?, job = ?, place = ?, reason = '' WHERE id = ?",
                  (part_out(name), name.job, place.value, scan))  # fmt: skip

    def moved(self, scan: int, place: Place, home: str, source: str, when_utc: str) -> None:
        """A scan has a new home; idempotent: the same home again changes nothing."""
        with self.together():
            before = self._row("SELECT home, sha256, place FROM scans WHERE id = ?", (scan,))
            if before is None or (before[0] == os.fsencode(home) and before[2] == place.value):
                return
            self._run("UPDATE scans SET home = ?, place = ? WHERE id = ?", (os.fsencode(home), place.value, scan))
            self._run("INSERT INTO moves (scan, sha256, source, target, when_utc) VALUES (?,?,?,?,?)",
                      (scan, before[1], os.fsencode(source), os.fsencode(home), when_utc))  # fmt: skip

    def moves_of(self, job: str) -> tuple[MoveRow, ...]:
        """Moves of the scans of a job, in order."""
        rows = self._rows("SELECT m.sha256, source, target, when_utc FROM moves m JOIN scans s ON s.id = m.scan"
                         " WHERE s.job = ? ORDER BY m.id", (job,))  # fmt: skip
        return tuple(MoveRow(r[0], os.fsdecode(r[1]), os.fsdecode(r[2]), r[3]) for r in rows)

    # jobs

    def put_job(self, row: JobRow, when_utc: str) -> None:
        """Enter or change a job."""
        self._run("INSERT INTO jobs (job, state, row, changed_utc) VALUES (?,?,?,?) ON CONFLICT (job) DO UPDATE SET"
                  " state = excluded.state, row = excluded.row, changed_utc = excluded.changed_utc",
                  (row.job, row.state.value, job_out(row), when_utc))  # fmt: skip

    def job(self, job: str) -> JobRow | None:
        """One job, or None."""
        found = self._row("SELECT row FROM jobs WHERE job = ?", (job,))
        return job_in(found[0]) if found else None

    def jobs(self, *states: JobState) -> tuple[JobRow, ...]:
        """All jobs, or those in these states."""
        where = f" WHERE state IN ({','.join('?' * len(states))})" if states else ""
        rows = self._rows(f"SELECT row FROM jobs{where} ORDER BY job", tuple(s.value for s in states))
        return tuple(job_in(r[0]) for r in rows)

    def jobs_since(self, since_utc: str) -> tuple[JobRow, ...]:
        """Jobs changed since then, and all that are still open."""
        open_states = (JobState.WAITING.value, JobState.UNFINISHED.value, JobState.WORKING.value)
        rows = self._rows("SELECT row FROM jobs WHERE changed_utc >= ? OR state IN (?,?,?) ORDER BY job",
                         (since_utc, *open_states))  # fmt: skip
        return tuple(job_in(r[0]) for r in rows)

    def decide(self, job: str, decision: Decision) -> None:
        """What a person decided."""
        self._run("INSERT INTO decisions (job, who, what, because, when_utc) VALUES (?,?,?,?,?)",
                  (job, decision.who, decision.what, decision.because, decision.when_utc))  # fmt: skip

    def decisions_of(self, job: str) -> tuple[Decision, ...]:
        """Decisions about a job, in order."""
        rows = self._rows("SELECT who, what, because, when_utc FROM decisions WHERE job = ? ORDER BY id", (job,))
        return tuple(Decision(*r) for r in rows)

    # filings

    def begin_filing(self, filing: Filing, when_utc: str) -> int:
        """Make the plan of a filing durable before its first step."""
        cursor = self._run("INSERT INTO filings (job, plan, begun_utc) VALUES (?,?,?)",
                           (filing.job, filing_out(filing), when_utc))  # fmt: skip
        return int(cursor.lastrowid or 0)

    def open_filings(self) -> tuple[tuple[int, Filing], ...]:
        """Filings that were begun and not finished."""
        rows = self._rows("SELECT id, plan FROM filings WHERE done = 0 ORDER BY id")
        return tuple((r[0], filing_in(r[1])) for r in rows)

    def abandon_filing(self, number: int, when_utc: str) -> None:
        """The plan is given up; its scans are back where they were."""
        self._run("UPDATE filings SET done = 2, done_utc = ? WHERE id = ?", (when_utc, number))

    def end_filing(self, number: int, filing: Filing, when_utc: str) -> None:
        """All steps are taken: the job stands as planned."""
        with self.together():
            for sha256, path in filing.copies:
                self._run("INSERT OR IGNORE INTO copies (sha256, path, when_utc) VALUES (?,?,?)",
                          (sha256, os.fsencode(path), when_utc))  # fmt: skip
            if filing.after is not None:
                self.put_job(filing.after, when_utc)
            self._run("UPDATE filings SET done = 1, done_utc = ? WHERE id = ?", (when_utc, number))

    def _scans(self, where: str, values: Sequence[Any]) -> tuple[ScanRow, ...]:
        return tuple(scan_in(r) for r in self._rows(f"SELECT {SCAN} FROM scans {where}", values))


def _migrate(db: sqlite3.Connection) -> None:
    db.execute("CREATE TABLE IF NOT EXISTS migrations (name TEXT PRIMARY KEY)")
    done = {r[0] for r in db.execute("SELECT name FROM migrations")}
    for name, sql in MIGRATIONS:
        if name not in done:
            # executescript commits what is open before it starts, so the transaction is part of the script
            quoted = name.replace("'", "''")
            db.executescript(f"BEGIN IMMEDIATE; {sql}; INSERT INTO migrations VALUES ('{quoted}'); COMMIT;")
