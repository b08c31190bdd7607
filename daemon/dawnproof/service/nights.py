"""What is done once a night: part of the archive read again while nothing else is to be done, and the morning summary
at its hour."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from datetime import datetime, timedelta

from ..errors import DawnproofError
from ..ledger.ledger import Ledger
from ..model import FixityRow
from ..pipeline.morning import moment, write_morning
from ..storage.studio import Studio
from ..upkeep import fixity_share
from .post import Post
from .voice import Voice, now_utc

QUIET_S = 600.0  # nothing to do for so long before the archive is read
EVENING_HOUR = 20  # the night lasts from here to the hour of the summary
ONCE_H = 20.0
RETRY_S = 60.0
LATE_H = 12  # a daemon started in the evening sends no morning any more


class NightWork:
    """Called by the loop with the local time. Both are said; neither moves anything."""

    def __init__(
        self,
        studio: Studio,
        ledger: Ledger,
        voice: Voice,
        executor: Executor,
        proceed: Callable[[], None],
        post: Post,
    ) -> None:
        self._studio, self._ledger, self._voice = studio, ledger, voice
        self._executor, self._proceed, self._post = executor, proceed, post
        self._reading: Future[tuple[FixityRow, ...]] | None = None
        self._quiet_since_s: float | None = None
        self._done = ""
        self._summary_at_s = -1e9
        self._stop_reading = False

    def look(self, now_s: float, local: datetime, quiet: bool) -> None:
        """One turn. `quiet`: nothing is arriving, being made or filed."""
        self._quiet_since_s = (self._quiet_since_s or now_s) if quiet else None
        self._stop_reading = not quiet
        if self._reading is not None and self._reading.done():
            self._was_read(self._reading)
        self._fixity_when_due(now_s, local)
        self._summary_when_due(now_s, local)

    def _fixity_when_due(self, now_s: float, local: datetime) -> None:
        quiet = self._quiet_since_s is not None and now_s - self._quiet_since_s >= QUIET_S
        if (
            self._reading is not None
            or not quiet
            or not self._is_night(local)
            or not self._studio.book.fixity.share_percent
        ):
            return
        self._quiet_since_s = now_s  # looked at again in a while, whatever comes of it
        if not self._ledger.fixity((now_utc() - timedelta(hours=ONCE_H)).isoformat()):
            self._reading = self._executor.submit(
                fixity_share, self._studio, self._ledger, now_utc().isoformat(), self._read_on
            )

    def _read_on(self, octets: int) -> None:
        """Reading gives way to work."""
        self._proceed()
        if self._stop_reading:
            raise DawnproofError("work came; the archive is read on another time")

    def _was_read(self, future: Future[tuple[FixityRow, ...]]) -> None:
        self._reading = None
        try:
            rows = future.result()
        except DawnproofError as error:
            self._voice.say("fixity", "", str(error))
            return
        bad = [r for r in rows if not r.ok]
        if rows:
            found = "; ".join(f"{r.bag}: {r.text}" for r in bad) or "all as filed"
            self._voice.say("fixity", "", f"{len(rows)} bag(s) of the archive read again: {found}")
        if bad:
            names = ", ".join(r.bag for r in bad)
            text = f"{names} no longer as filed: run `dawnproof verify`, and bring back the second copy by hand"
            self._voice.alarm("fixity", text)

    def _summary_when_due(self, now_s: float, local: datetime) -> None:
        """Once a day from its hour on. What fails (a full disk) is tried again after a while. A summary that was
        written and not yet entered for the post when the daemon was stopped is written again and then entered."""
        day = local.date().isoformat()
        if self._done == day or local.hour < self._studio.book.morning.hour or now_s < self._summary_at_s:
            return
        self._summary_at_s = now_s + RETRY_S
        written = self._is_written(day, local)
        wanted = self._post.wants(day) and local.hour < self._studio.book.morning.hour + LATE_H
        if not written or wanted:
            made = write_morning(self._studio, self._ledger, moment(None, local), local, None)
            if wanted:
                self._post.morning(day, made, local)
        if not written:
            self._voice.say("morning", "", f"the morning summary is written: {self._studio.morning / day}.txt")
        self._done = day

    def _is_written(self, day: str, local: datetime) -> bool:
        """Whether the summary was written at its hour or later; one asked for in the night is not the morning's."""
        path = self._studio.morning / f"{day}.txt"
        hour = local.replace(hour=self._studio.book.morning.hour, minute=0, second=0, microsecond=0)
        return path.exists() and path.stat().st_mtime >= hour.timestamp()

    def _is_night(self, local: datetime) -> bool:
        return local.hour >= EVENING_HOUR or local.hour < self._studio.book.morning.hour
