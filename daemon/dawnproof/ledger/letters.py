"""The letters of the studio: each matter is written about once, each letter handed over once, whatever stops the
daemon in between."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from ..model import MailRow, MailState
from .connection import Connection

_MAIL = "id, file, subject, made_utc, state, tries, next_utc, words"


class Letters(Connection):
    """What is to be sent, and what came of it."""

    def add_mail(self, row: MailRow, matters: Iterable[str]) -> int:
        """Enter a letter, to be sent at once, and the matters it is about; gives its number."""
        with self.together():
            cursor = self._run("INSERT INTO mails (file, subject, made_utc, state, next_utc) VALUES (?,?,?,?,?)",
                               (row.file, row.subject, row.made_utc, row.state.value, row.made_utc))  # fmt: skip
            for matter in matters:
                self._run("INSERT INTO mail_matters (matter, mail) VALUES (?,?)", (matter, cursor.lastrowid))
        return int(cursor.lastrowid or 0)

    def is_written_about(self, matter: str) -> bool:
        """Whether a letter about this matter was ever entered."""
        return self._row("SELECT 1 FROM mail_matters WHERE matter = ?", (matter,)) is not None

    def mail_to_send(self, now_utc: str) -> MailRow | None:
        """The oldest letter whose time has come."""
        row = self._row(f"SELECT {_MAIL} FROM mails WHERE state = ? AND next_utc <= ? ORDER BY id LIMIT 1",
                        (MailState.WAITING.value, now_utc))  # fmt: skip
        return _mail_in(row) if row else None

    def mails_in(self, state: MailState) -> tuple[MailRow, ...]:
        """All letters that stand so."""
        rows = self._rows(f"SELECT {_MAIL} FROM mails WHERE state = ? ORDER BY id", (state.value,))
        return tuple(_mail_in(row) for row in rows)

    def unsent_mails(self, since_utc: str) -> tuple[MailRow, ...]:
        """Letters that were tried in vain and are not sent: all still to be tried, given up ones made since then."""
        rows = self._rows(f"SELECT {_MAIL} FROM mails WHERE tries > 0 AND (state = ? OR state = ? AND made_utc >= ?)"
                          " ORDER BY id",
                          (MailState.WAITING.value, MailState.GIVEN_UP.value, since_utc))  # fmt: skip
        return tuple(_mail_in(row) for row in rows)

    def put_mail(self, row: MailRow) -> None:
        """How a letter stands now."""
        self._run("UPDATE mails SET state = ?, tries = ?, next_utc = ?, words = ? WHERE id = ?",
                  (row.state.value, row.tries, row.next_utc, row.words, row.id))  # fmt: skip


def _mail_in(row: Any) -> MailRow:
    return MailRow(row[0], row[1], row[2], row[3], MailState(row[4]), row[5], row[6], row[7])
