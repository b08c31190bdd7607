"""Letters: composed from what the reports say, kept in the outbox, entered in the ledger."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

from ..ledger.ledger import Ledger
from ..model import MailRow, shown
from ..notice.mail import Letter, compose
from ..report.letter import alarm_subject, alarm_text, letter_html, morning_subject
from ..storage.moves import make_folder, write_beside
from ..storage.studio import Studio
from .morning import Written

MEGABYTE = 1_000_000


def morning_letter(studio: Studio, written: Written) -> Letter:
    """The summary as it was written: its text, the same in brief as HTML, and the page where it is small enough."""
    path = studio.morning / f"{written.day}.html"
    octets = path.stat().st_size
    fits = octets <= studio.book.mail.page_mb * MEGABYTE
    where = f"The page goes with this letter: {path.name}" if fits else f"The page: {shown(str(path))}"
    pages = ((path.name, path.read_text("utf-8")),) if fits else ()
    return Letter(
        morning_subject(written.night), f"{written.text}\n{where}\n", letter_html(written.night, where), pages
    )


def alarm_letter(studio: Studio, alarms: tuple[str, ...], local: datetime) -> Letter:
    """What cannot wait until the morning."""
    return Letter(alarm_subject(studio.root.name, alarms), alarm_text(studio.root.name, alarms, local))


def post(studio: Studio, ledger: Ledger, file: str, letter: Letter, local: datetime, matters: Iterable[str]) -> None:
    """Keep the letter in the outbox, then enter it: what is entered can be sent. The same file again is replaced, so
    a stop in between leaves nothing behind."""
    make_folder(studio.outbox)
    write_beside(studio.outbox / file, compose(letter, studio.book.mail, local), replace=True)
    now = local.astimezone(UTC).isoformat()
    ledger.add_mail(MailRow(0, file, shown(letter.subject), now), matters)
