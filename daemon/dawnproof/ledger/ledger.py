"""The only SQL. One writer (the daemon), any number of readers; every change is durable when the call returns."""

from __future__ import annotations

import json
import os
import sqlite3
import urllib.parse
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from ..errors import LedgerError, UsageError
from ..model import (
    ArrivingRow,
    Decision,
    EventRow,
    Filing,
    Finding,
    FixityRow,
    JobRow,
    JobState,
    Measured,
    MoveRow,
    PartName,
    Place,
    RunRow,
    ScanRow,
    StayingRow,
)
from .letters import Letters
from .schema import MIGRATIONS
from .short import ShortAnswers

_MEASURED = TypeAdapter(Measured)
_FINDINGS = TypeAdapter(tuple[Finding, ...])
_PART_NAME = TypeAdapter(PartName)
_JOB = TypeAdapter(JobRow)
_FILING = TypeAdapter(Filing)
_SCAN = "id, sha256, bytes, file, part_name, bed, place, home, admitted_utc, reason, measured, thumb, findings"


class Ledger(ShortAnswers, Letters):
    """The record of every file seen, every reading, every move and every decision."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        super().__init__(connection)
        self._arriving: dict[bytes, ArrivingRow] | None = None

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
        measured, thumb = _measured_out(row.measured)
        cursor = self._run(
            "INSERT INTO scans (sha256, bytes, raw_name, file, part_name, job, bed, place, home, reason, admitted_utc,"
            " measured, thumb, findings) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
            (row.sha256, row.size_bytes, raw_name, row.file, _part_out(row.name), row.name.job if row.name else None,
             row.bed, row.place.value, os.fsencode(row.home), row.reason, row.admitted_utc, measured, thumb,
             _FINDINGS.dump_json(row.findings).decode()),
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
        self._run("UPDATE scans SET findings = ? WHERE id = ?", (_FINDINGS.dump_json(tuple(findings)).decode(), scan))

    def set_measured(self, scan: int, measured: Measured) -> None:
        """A scan was measured again, as another part than before."""
        text, thumb = _measured_out(measured)
        self._run("UPDATE scans SET measured = ?, thumb = ?, findings = '[]' WHERE id = ?", (text, thumb, scan))

    def rename_scan(self, scan: int, name: PartName, place: Place) -> None:
        """A person gave an unplaced scan its name."""
        self._run("UPDATE scans SET part_name = ?, job = ?, place = ?, reason = '' WHERE id = ?",
                  (_part_out(name), name.job, place.value, scan))  # fmt: skip

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
                  (row.job, row.state.value, _JOB.dump_json(row).decode(), when_utc))  # fmt: skip

    def job(self, job: str) -> JobRow | None:
        """One job, or None."""
        found = self._row("SELECT row FROM jobs WHERE job = ?", (job,))
        return _JOB.validate_json(found[0]) if found else None

    def jobs(self, *states: JobState) -> tuple[JobRow, ...]:
        """All jobs, or those in these states."""
        where = f" WHERE state IN ({','.join('?' * len(states))})" if states else ""
        rows = self._rows(f"SELECT row FROM jobs{where} ORDER BY job", tuple(s.value for s in states))
        return tuple(_JOB.validate_json(r[0]) for r in rows)

    def jobs_since(self, since_utc: str) -> tuple[JobRow, ...]:
        """Jobs changed since then, and all that are still open."""
        open_states = (JobState.WAITING.value, JobState.UNFINISHED.value, JobState.WORKING.value)
        rows = self._rows("SELECT row FROM jobs WHERE changed_utc >= ? OR state IN (?,?,?) ORDER BY job",
                         (since_utc, *open_states))  # fmt: skip
        return tuple(_JOB.validate_json(r[0]) for r in rows)

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
                           (filing.job, _filing_out(filing), when_utc))  # fmt: skip
        return int(cursor.lastrowid or 0)

    def open_filings(self) -> tuple[tuple[int, Filing], ...]:
        """Filings that were begun and not finished."""
        rows = self._rows("SELECT id, plan FROM filings WHERE done = 0 ORDER BY id")
        return tuple((r[0], _filing_in(r[1])) for r in rows)

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

    # the night

    def say(self, event: EventRow) -> None:
        """One line of the night."""
        self._run("INSERT INTO events (when_utc, kind, job, text) VALUES (?,?,?,?)",
                  (event.when_utc, event.kind, event.job, event.text))  # fmt: skip

    def events(self, since_utc: str = "", most: int = 1000) -> tuple[EventRow, ...]:
        """The newest lines since then, oldest first."""
        rows = self._rows("SELECT when_utc, kind, job, text FROM events WHERE when_utc >= ? ORDER BY id DESC LIMIT ?",
                         (since_utc, most))  # fmt: skip
        return tuple(EventRow(*r) for r in reversed(rows))

    def set_arriving(self, rows: Iterable[tuple[bytes, ArrivingRow]]) -> None:
        """What is in the inbox without a scan row, as it stands now; only what changed is written."""
        now = dict(rows)
        before, self._arriving = self._arriving, None  # unknown until the change is durable
        with self.together():
            if before is None:
                self._run("DELETE FROM arriving")
            for path in (before or {}).keys() - now.keys():
                self._run("DELETE FROM arriving WHERE path = ?", (path,))
            for path, row in now.items():
                if before is None or before.get(path) != row:
                    self._run("INSERT OR REPLACE INTO arriving (path, file, bed, bytes, since_utc, state, reason)"
                              " VALUES (?,?,?,?,?,?,?)",
                              (path, row.file, row.bed, row.size_bytes, row.since_utc, row.state,
                               row.reason))  # fmt: skip
        self._arriving = now

    def arriving(self) -> tuple[ArrivingRow, ...]:
        """What is in the inbox without a scan row."""
        rows = self._rows("SELECT file, bed, bytes, since_utc, state, reason FROM arriving ORDER BY since_utc, file")
        return tuple(ArrivingRow(*r) for r in rows)

    def stays(self, row: StayingRow, when_utc: str) -> bool:
        """A file stays where it is; True the first time it is said."""
        cursor = self._run("INSERT OR IGNORE INTO staying (path, file, reason, kind, when_utc) VALUES (?,?,?,?,?)",
                           (os.fsencode(row.path), row.file, row.reason, row.kind, when_utc))  # fmt: skip
        return cursor.rowcount > 0

    def no_longer_stays(self, path: str) -> None:
        """The file has gone."""
        self._run("DELETE FROM staying WHERE path = ?", (os.fsencode(path),))

    def staying(self) -> tuple[StayingRow, ...]:
        """Files that stay where they are."""
        rows = self._rows("SELECT path, file, reason, kind FROM staying ORDER BY file")
        return tuple(StayingRow(os.fsdecode(r[0]), r[1], r[2], r[3]) for r in rows)

    def begin_run(self, when_utc: str) -> int:
        """The daemon starts."""
        return int(
            self._run("INSERT INTO runs (begun_utc, beat_utc) VALUES (?,?)", (when_utc, when_utc)).lastrowid or 0
        )

    def beat(self, run: int, when_utc: str) -> None:
        """A sign of life."""
        self._run("UPDATE runs SET beat_utc = ? WHERE id = ?", (when_utc, run))

    def end_run(self, run: int, when_utc: str) -> None:
        """The daemon stops in order."""
        self._run("UPDATE runs SET beat_utc = ?, ended_utc = ? WHERE id = ?", (when_utc, when_utc, run))

    def runs(self, since_utc: str = "") -> tuple[RunRow, ...]:
        """Runs with a sign of life since then."""
        rows = self._rows("SELECT begun_utc, beat_utc, coalesce(ended_utc, '') FROM runs WHERE beat_utc >= ?"
                          " ORDER BY id",
                         (since_utc,))  # fmt: skip
        return tuple(RunRow(*r) for r in rows)

    def say_fixity(self, row: FixityRow) -> None:
        """A bag was read again."""
        self._run(
            "INSERT INTO fixity (when_utc, bag, ok, text) VALUES (?,?,?,?)", (row.when_utc, row.bag, row.ok, row.text)
        )

    def fixity(self, since_utc: str = "") -> tuple[FixityRow, ...]:
        """Re-readings since then."""
        rows = self._rows("SELECT when_utc, bag, ok, text FROM fixity WHERE when_utc >= ? ORDER BY id", (since_utc,))
        return tuple(FixityRow(r[0], r[1], bool(r[2]), r[3]) for r in rows)

    def _scans(self, where: str, values: Sequence[Any]) -> tuple[ScanRow, ...]:
        return tuple(_scan_in(r) for r in self._rows(f"SELECT {_SCAN} FROM scans {where}", values))


def _migrate(db: sqlite3.Connection) -> None:
    db.execute("CREATE TABLE IF NOT EXISTS migrations (name TEXT PRIMARY KEY)")
    done = {r[0] for r in db.execute("SELECT name FROM migrations")}
    for name, sql in MIGRATIONS:
        if name not in done:
            # executescript commits what is open before it starts, so the transaction is part of the script
            quoted = name.replace("'", "''")
            db.executescript(f"BEGIN IMMEDIATE; {sql}; INSERT INTO migrations VALUES ('{quoted}'); COMMIT;")


def _measured_out(measured: Measured | None) -> tuple[str | None, bytes | None]:
    if measured is None:
        return None, None
    return _MEASURED.dump_json(replace(measured, thumb=b"")).decode(), measured.thumb


def _part_out(name: PartName | None) -> str | None:
    return _PART_NAME.dump_json(name).decode() if name else None


def _scan_in(row: Sequence[Any]) -> ScanRow:
    measured = replace(_MEASURED.validate_json(row[10]), thumb=row[11] or b"") if row[10] else None
    return ScanRow(
        id=row[0], sha256=row[1], size_bytes=row[2], file=row[3],
        name=_PART_NAME.validate_json(row[4]) if row[4] else None, bed=row[5], place=Place(row[6]),
        home=os.fsdecode(row[7]), admitted_utc=row[8], reason=row[9], measured=measured,
        findings=_FINDINGS.validate_json(row[12]),
    )  # fmt: skip


def _filing_out(filing: Filing) -> str:
    """JSON of a plan; its paths percent-encoded, since a path may hold bytes that are no UTF-8."""
    return _FILING.dump_json(_with_paths(filing, lambda p: urllib.parse.quote(os.fsencode(p)))).decode()


def _filing_in(text: str) -> Filing:
    return _with_paths(
        _FILING.validate_python(json.loads(text)), lambda p: os.fsdecode(urllib.parse.unquote_to_bytes(p))
    )


def _with_paths(filing: Filing, change: Callable[[str], str]) -> Filing:
    steps = tuple(
        replace(s, source=change(s.source), target=change(s.target), final=change(s.final)) for s in filing.steps
    )
    return replace(filing, steps=steps, copies=tuple((sha, change(path)) for sha, path in filing.copies))
