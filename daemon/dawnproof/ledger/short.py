"""Short answers for the loop, which asks at every turn: no readings are decoded, no table is walked through."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from ..model import EventRow, JobState, RootRow, WaitingScan
from ..naming import job_key
from .connection import Connection

_WAITING = "id, home, file, coalesce(job, ''), bytes, admitted_utc, reason"


class ShortAnswers(Connection):
    """What is asked often."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        super().__init__(connection)
        self._spellings: dict[str, str] = {}
        self._spelled_to = 0

    def waiting_scans(self) -> tuple[WaitingScan, ...]:
        """All scans whose home is the inbox."""
        return tuple(
            _waiting_in(r) for r in self._rows(f"SELECT {_WAITING} FROM scans WHERE place = 'inbox' ORDER BY id")
        )

    def waiting_at(self, home: Path) -> WaitingScan | None:
        """The scan that waits at this path."""
        row = self._row(f"SELECT {_WAITING} FROM scans WHERE home = ? AND place = 'inbox'", (os.fsencode(home),))
        return _waiting_in(row) if row else None

    def waiting_jobs(self) -> tuple[str, ...]:
        """Jobs that have scans in the inbox, those with the oldest scan first."""
        rows = self._rows("SELECT job FROM scans WHERE place = 'inbox' AND job IS NOT NULL AND reason = ''"
                          " GROUP BY job ORDER BY min(id)")  # fmt: skip
        return tuple(r[0] for r in rows)

    def spellings(self) -> dict[str, str]:
        """Every job's number by its key. Only jobs written since the last time are read: a file that comes must not
        cost more the more jobs there are."""
        for row, job in self._rows("SELECT rowid, job FROM jobs WHERE rowid > ? ORDER BY rowid", (self._spelled_to,)):
            self._spelled_to = int(row)
            self._spellings[job_key(job)] = job
        return self._spellings

    def any_waits(self) -> bool:
        """Whether a scan that belongs to a job waits in the inbox."""
        return self._row("SELECT 1 FROM scans WHERE place = 'inbox' AND reason = '' LIMIT 1") is not None

    def jobs_in(self, *states: JobState) -> tuple[str, ...]:
        """Numbers of all jobs, or of those in these states."""
        where = f" WHERE state IN ({','.join('?' * len(states))})" if states else ""
        return tuple(r[0] for r in self._rows(f"SELECT job FROM jobs{where} ORDER BY job", [s.value for s in states]))

    def jobs_without_second(self) -> tuple[str, ...]:
        """Jobs with a bag that does not stand a second time yet."""
        rows = self._rows("SELECT job FROM jobs WHERE json_extract(row, '$.second_missing') ORDER BY job")
        return tuple(r[0] for r in rows)

    def reasons(self) -> tuple[WaitingScan, ...]:
        """The scans that were set aside, in brief, with the reason."""
        return tuple(
            _waiting_in(r) for r in self._rows(f"SELECT {_WAITING} FROM scans WHERE place = 'unplaced' ORDER BY id")
        )

    def state_mark(self) -> tuple[object, ...]:
        """What a screen would show changes only where this does; signs of life alone do not change it."""
        row = self._row(
            "SELECT (SELECT max(id) FROM events), (SELECT max(id) FROM scans), (SELECT max(changed_utc) FROM jobs),"
            " (SELECT max(id) FROM decisions), (SELECT max(id) FROM moves), (SELECT max(id) FROM fixity),"
            " (SELECT max(id) FROM runs), (SELECT count(*) FROM staying), (SELECT total(tries) FROM mails),"
            " (SELECT count(*) FROM arriving), (SELECT total(bytes) FROM arriving),"
            " (SELECT count(*) FROM arriving WHERE state = 'measuring')"
        )
        return tuple(row)

    def homes_below(self, folder: Path, most: int = 5) -> tuple[str, ...]:
        """Homes of the newest scans below a folder."""
        low = os.fsencode(folder) + b"/"
        rows = self._rows("SELECT home FROM scans WHERE home >= ? AND home < ? AND place <> 'gone'"
                          " ORDER BY id DESC LIMIT ?", (low, low[:-1] + b"0", most))  # fmt: skip
        return tuple(os.fsdecode(r[0]) for r in rows)

    def arrived_since(self, since_utc: str) -> tuple[int, str]:
        """Bytes of the scans admitted since then, and when the first of them was ('' = none)."""
        row = self._row("SELECT coalesce(sum(bytes), 0), coalesce(min(admitted_utc), '') FROM scans"
                        " WHERE admitted_utc >= ?", (since_utc,))  # fmt: skip
        return int(row[0]), str(row[1])

    def scans_of_size(self, size_bytes: int) -> tuple[WaitingScan, ...]:
        """Scans of this size that have a home, in brief."""
        rows = self._rows(f"SELECT {_WAITING} FROM scans WHERE bytes = ? AND place <> 'gone'", (size_bytes,))
        return tuple(_waiting_in(r) for r in rows)

    def say_once(self, event: EventRow) -> None:
        """A line of the night that is said only the first time."""
        now = "strftime('%Y-%m-%dT%H:%M:%S+00:00', 'now')"
        self._run(f"INSERT INTO events (when_utc, kind, job, text) SELECT {now}, ?, ?, ?"
                  " WHERE NOT EXISTS (SELECT 1 FROM events WHERE kind = ? AND text = ?)",
                  (event.kind, event.job, event.text, event.kind, event.text))  # fmt: skip

    def anything_to_file(self) -> bool:
        """Whether a filing was begun and not finished."""
        return self._row("SELECT 1 FROM filings WHERE done = 0 LIMIT 1") is not None

    def roots(self) -> dict[str, RootRow]:
        """The studio's folders as they were last found to be the right ones, by path."""
        rows = self._rows("SELECT path, dev, ino, own_disk FROM roots")
        found = (RootRow(os.fsdecode(r[0]), int(r[1]), int(r[2]), bool(r[3])) for r in rows)
        return {row.path: row for row in found}

    def put_root(self, row: RootRow) -> None:
        """A folder was found to be the right one."""
        self._run("INSERT OR REPLACE INTO roots (path, dev, ino, own_disk) VALUES (?,?,?,?)",
                  (os.fsencode(row.path), str(row.dev), str(row.ino), row.own_disk))  # fmt: skip


def _waiting_in(row: tuple[int, bytes, str, str, int, str, str]) -> WaitingScan:
    return WaitingScan(row[0], os.fsdecode(row[1]), row[2], row[3], row[4], row[5], row[6])
