"""The one way into the ledger's file: every error of SQLite becomes a LedgerError, every change is durable at once."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from ..errors import LedgerError


class Connection:
    """One open ledger, shared by the threads of one process in turns."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._db = connection
        self._turn = threading.RLock()  # the loop and the filing thread take turns

    def close(self) -> None:
        """Close the ledger."""
        self._db.close()

    @contextmanager
    def together(self) -> Iterator[None]:
        """Everything written inside becomes durable at once, or not at all."""
        with self._turn:
            if self._db.in_transaction:
                yield
                return
            self._run("BEGIN IMMEDIATE")
            try:
                yield
                self._run("COMMIT")
            except BaseException:
                self._roll_back()
                raise

    def _roll_back(self) -> None:
        try:
            if self._db.in_transaction:  # a full disk makes SQLite roll back by itself
                self._db.execute("ROLLBACK")
        except sqlite3.Error:
            return  # the error that led here is already on its way, and nothing of it was made durable

    def _run(self, sql: str, values: Sequence[Any] = ()) -> sqlite3.Cursor:
        try:
            with self._turn:
                return self._db.execute(sql, values)
        except sqlite3.Error as error:
            raise _unusable(error) from error

    def _rows(self, sql: str, values: Sequence[Any] = ()) -> list[Any]:
        try:
            with self._turn:
                return self._db.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise _unusable(error) from error

    def _row(self, sql: str, values: Sequence[Any] = ()) -> Any:
        found = self._rows(sql, values)
        return found[0] if found else None


def _unusable(error: sqlite3.Error) -> LedgerError:
    return LedgerError(f"the ledger cannot be used: {error}; nothing moves until it can")
