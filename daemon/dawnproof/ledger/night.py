"""The lines of the night: what happened, what arrives, what stays, when the daemon ran, which bags were read again."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable

from ..model import ArrivingRow, EventRow, FixityRow, RunRow, StayingRow
from .connection import Connection


class NightLines(Connection):
    """What the morning is told beside scans and jobs."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        super().__init__(connection)
        self._arriving: dict[bytes, ArrivingRow] | None = None

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
