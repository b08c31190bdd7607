"""The studio's letters: the morning summary at its hour and, where asked for, what cannot wait. A mail server that
refuses or hangs delays nothing here: every try runs in a thread of its own, tries are few, and all that is known of a
letter stands in the ledger before and after each step."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from ..errors import LedgerError
from ..ledger.ledger import Ledger
from ..model import MailRow, MailState, shown
from ..notice.mail import Attempt, NotSent, Sent
from ..pipeline.letters import alarm_letter, morning_letter, post
from ..pipeline.morning import Written
from ..storage.studio import Studio
from .voice import Voice, log

LOOK_S = 5.0
WAITS_S = (60.0, 300.0, 900.0, 3600.0, 10800.0)  # after each try in vain; then it is given up
WALL_S = 180.0  # a try that lasts longer is broken off
STANDS_S = 60.0  # an alarm that mends itself sooner is not written about
ALARM_GAP_S = 600.0  # what comes up in between goes into one letter
PERHAPS = "it was being handed over when the daemon was stopped, so it may have been sent; it is not sent again"


class Post:
    """Called by the loop; nothing here waits for a server."""

    def __init__(self, studio: Studio, ledger: Ledger, voice: Voice, waits_s: tuple[float, ...] = WAITS_S) -> None:
        self._studio, self._ledger, self._voice, self._waits_s = studio, ledger, voice, waits_s
        self._rules = studio.book.mail
        self._trying: tuple[MailRow, Attempt, Future[Sent | NotSent], float] | None = None
        self._look_at_s = -1e9
        self._alarm_at_s = -1e9
        self._since_s: dict[str, float] = {}
        self._begun = False

    def wants(self, day: str) -> bool:
        """Whether the summary of that day is to be sent and was not entered yet."""
        wanted = self._rules.host is not None and "morning" in self._rules.when
        return wanted and not self._ledger.is_written_about(_morning(day))

    def morning(self, day: str, written: Written, local: datetime) -> None:
        """Enter the summary of that day; it goes out with the next look."""
        post(self._studio, self._ledger, f"morning-{day}.eml", morning_letter(self._studio, written), local,
             (_morning(day),))  # fmt: skip

    def look(self, now_s: float, local: datetime) -> None:
        """One turn: take up what a try came to, write about what stands, begin the next try."""
        if self._rules.host is None:
            return
        if self._trying is not None:
            self._look_at_the_try(now_s, local)
            return
        if now_s < self._look_at_s:
            return
        self._look_at_s = now_s + LOOK_S
        self._begin_once()
        self._alarms(now_s, local)
        row = self._ledger.mail_to_send(local.astimezone(UTC).isoformat())
        if row is not None:
            self._try(row, now_s)

    def end(self) -> None:
        """The daemon stops: a try under way is broken off, and taken again at the next start unless it was already
        being handed over."""
        if self._trying is not None:
            self._trying[1].break_off()

    def _begin_once(self) -> None:
        if self._begun:
            return
        for row in self._ledger.mails_in(MailState.HANDING_OVER):
            self._given_up(row, PERHAPS)
        self._begun = True

    def _alarms(self, now_s: float, local: datetime) -> None:
        """Alarms that stand, each matter at most once a day, several in one letter."""
        standing = self._voice.standing
        self._since_s = {key: self._since_s.get(key, now_s) for key in standing}
        if "alarms" not in self._rules.when or now_s < self._alarm_at_s:
            return
        day = local.date().isoformat()
        old = [key for key, since_s in self._since_s.items() if now_s - since_s >= STANDS_S]
        new = {f"alarm {day} {key}": standing[key] for key in old}
        new = {matter: text for matter, text in new.items() if not self._ledger.is_written_about(matter)}
        if new:
            self._alarm_at_s = now_s + ALARM_GAP_S
            letter = alarm_letter(self._studio, tuple(new.values()), local)
            post(self._studio, self._ledger, f"alarm-{local:%Y%m%dT%H%M%S}.eml", letter, local, new)

    def _try(self, row: MailRow, now_s: float) -> None:
        try:
            data = (self._studio.outbox / row.file).read_bytes()
        except OSError as error:
            self._given_up(row, f"its file in the outbox cannot be read ({error.strerror})")
            return
        ledger, trying = self._ledger, replace(row, tries=row.tries + 1)
        ledger.put_mail(trying)
        attempt = Attempt(self._rules, self._studio.root,
                          lambda: ledger.put_mail(replace(trying, state=MailState.HANDING_OVER)))  # fmt: skip
        self._trying = (trying, attempt, _beside(lambda: attempt.send(data)), now_s)

    def _look_at_the_try(self, now_s: float, local: datetime) -> None:
        assert self._trying is not None
        row, attempt, future, begun_s = self._trying
        if not future.done():
            if now_s - begun_s > WALL_S:
                attempt.break_off()
            return
        self._trying = None
        try:
            came = future.result()
        except LedgerError as error:  # it could not be made durable that the letter was being handed over
            came = NotSent(str(error))
        if isinstance(came, Sent):
            self._sent(row, came)
        elif came.perhaps:
            self._given_up(row, f"{came.words} after it was given the text, so it may have been sent; not sent again")
        elif not came.again:
            self._given_up(row, came.words)
        else:
            self._again(row, came.words, local)

    def _sent(self, row: MailRow, came: Sent) -> None:
        but = f", but {', '.join(map(shown, came.refused))} was refused" if came.refused else ""
        self._ledger.put_mail(replace(row, state=MailState.SENT, words=but.removeprefix(", ")))
        self._voice.say("mail", "", f"sent: {row.subject}{but}")
        self._drop(row)

    def _again(self, row: MailRow, words: str, local: datetime) -> None:
        if row.tries > len(self._waits_s):
            self._given_up(row, f"{words}; tried {row.tries} times")
            return
        then = local.astimezone(UTC) + timedelta(seconds=self._waits_s[row.tries - 1])
        self._ledger.put_mail(replace(row, state=MailState.WAITING, next_utc=then.isoformat(), words=words))
        if words != row.words:
            self._voice.say("mail", "", f"not sent yet: {row.subject}: {words}; it is tried again")

    def _given_up(self, row: MailRow, words: str) -> None:
        self._ledger.put_mail(replace(row, state=MailState.GIVEN_UP, words=words))
        self._voice.say("mail", "", f"not sent: {row.subject}: {words}")
        self._drop(row)

    def _drop(self, row: MailRow) -> None:
        try:
            (self._studio.outbox / row.file).unlink(missing_ok=True)
        except OSError as error:
            log.debug("a letter stays in the outbox: %s", error)


def _morning(day: str) -> str:
    return f"morning {day}"


def _beside(task: Callable[[], Sent | NotSent]) -> Future[Sent | NotSent]:
    """In a thread that never holds up the end of the process, as those of an executor would."""
    future: Future[Sent | NotSent] = Future()

    def run() -> None:
        try:
            future.set_result(task())
        except BaseException as error:
            future.set_exception(error)

    threading.Thread(target=run, name="post", daemon=True).start()
    return future
