"""One daemon of one studio: what is done in which order, how often, and when it ends."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from queue import Queue

from ..cluster.errand import News
from ..errors import BrokenOff, EnvironmentFault, LedgerError, MoveError
from ..ledger.ledger import Ledger
from ..model import EventRow, Identity, Progress, StayingRow
from ..notice.service_notify import ServiceNotify
from ..pipeline.filing import Filer
from ..pipeline.reasons import write_reasons
from ..pipeline.roots import Roots
from ..storage.studio import Studio
from ..watch.gate import ignore_lease_breaks
from ..watch.observer import Hint, InboxObserver
from ..workers.engine import Engine
from .arrivals import Admitted, Arrivals
from .departed import Departed
from .desk import Desk
from .hands import Hand, Worker
from .nights import NightWork
from .post import Post
from .rounds import Rounds
from .second import SecondCopies
from .space import Forecast
from .voice import Voice, log, now_utc

TICK_S = 0.2
BEAT_S = 5.0
RETRY_S = 10.0
END_S = 8.0  # what is under way has so long to come to a step's end when the daemon is stopped
HELD_S = 20.0  # one step of a filing: forcing a scan of some gigabytes to a slow disk takes no longer
LEAST_SCAN_S = 0.2


@dataclass(frozen=True, slots=True)
class Tick:
    """What a watcher of the loop is shown at every turn."""

    progress: tuple[Progress, ...]
    alarms: tuple[str, ...]


@dataclass
class Service:
    """One daemon of one studio. `on_event` gets every line of the night, `on_tick` what is going on now."""

    studio: Studio
    ledger: Ledger
    pool: Engine
    on_event: Callable[[EventRow], None]
    on_tick: Callable[[Tick], None] = lambda tick: None
    until_idle: bool = False
    clock: Callable[[], float] = time.monotonic
    stop: threading.Event = field(default_factory=threading.Event)
    retry_s: float = RETRY_S
    beat_s: float = BEAT_S
    notify: ServiceNotify = field(default_factory=ServiceNotify)
    local_time: Callable[[], datetime] = lambda: datetime.now().astimezone()
    threads: Callable[[str], Worker] = Hand
    news: Callable[[], Iterable[News]] = tuple  # what other computers' work has to say

    def __post_init__(self) -> None:
        self._voice = Voice(self.ledger, self.on_event)
        self._rounds = Rounds(self._voice, self._show)
        self._roots = Roots(self.studio, self.ledger)
        self._filer = Filer(self.studio, self.ledger, self._roots, lambda: now_utc().isoformat(), self._proceed)
        self._filing, self._reading = self.threads("filing"), self.threads("reading")
        self._desk = Desk(self.studio, self.ledger, self.pool, self._roots, self._voice, self._filer, self._filing,
                          self.retry_s)  # fmt: skip
        self._arrivals = Arrivals(self.studio, self.ledger, self.pool, self._roots, self._voice, self._reading,
                                  self._admitted)  # fmt: skip
        self._departed = Departed(self.studio.inbox, self.ledger, self._roots, self._voice)
        self._second = SecondCopies(self.studio, self.ledger, self._roots, self._voice, self._reading, self.retry_s,
                                    self._proceed)  # fmt: skip
        self._post = Post(self.studio, self.ledger, self._voice)
        self._nights = NightWork(self.studio, self.ledger, self._voice, self._reading, self._proceed, self._post)
        self._forecast = Forecast(self.studio, self.ledger, self._voice, self._roots.sound)
        self._hints: Queue[Hint] = Queue(100_000)
        self._last_scan_s = self._last_beat_s = self._last_reasons_s = -1e9
        self._seen_before: frozenset[tuple[Path, Identity]] | None = None
        self._seen_at_s = 0.0
        self._idle = False
        self._stuck_mark: object = None
        self._stuck_since_s = 0.0
        self._run = 0
        self._asked_s = 0.0
        self._tidying: threading.Thread | None = None

    # the life of the daemon

    def run(self) -> None:
        """Until stopped, or until idle. Begins with recovery from whatever state the last run ended in."""
        if threading.current_thread() is threading.main_thread():
            ignore_lease_breaks()
        observer = InboxObserver([self.studio.inbox], self._hints)
        try:
            self._begin()
            observer.start()
            self._rounds.begin()
            self.notify.ready(f"watching {self.studio.root}")
            while not self.stop.is_set():
                self._turn(observer)
                if self.until_idle and self._all_done():
                    break
                self.stop.wait(TICK_S)
        finally:
            self.notify.stopping()
            self.stop.set()
            observer.stop()
            self._end()

    def work_off(self) -> None:
        """Without watching: recover, do what people decided, and end."""
        self._roots.begin()
        self._recover(after_a_stop=False)
        self._desk.listed, _ = self.studio.job_list()
        self._desk.begin_working()
        try:
            while self._desk.busy():
                self._desk.collect(self.clock())
                self.pool.watch()
                self.stop.wait(TICK_S)
            write_reasons(self.studio, self.ledger)
        finally:
            self.pool.close(wait=False)
            self._roots.end()
            self._filing.shutdown(wait=True)
            self._reading.shutdown(wait=True)

    def _begin(self) -> None:
        self._run = self.ledger.begin_run(now_utc().isoformat())
        self._voice.say("begun", "", "the daemon watches the studio")
        self._roots.begin()
        self._health_of_roots()
        self._recover()
        self._departed.look(self._desk.moving)
        self._desk.begin(self.clock())

    def _recover(self, after_a_stop: bool = True) -> None:
        taken = self._filer.recover()
        if taken.done and after_a_stop:
            self._voice.say("recovered", "", f"{len(taken.done)} filing(s) begun before the last stop were finished")
            for job in filter(None, taken.done):
                self._desk.say_outcome(job)
        for job, text in taken.problems:
            self._voice.alarm(f"filing {job}", f"{job + ': ' if job else ''}{text}")

    def _end(self) -> None:
        """A step in progress is finished, or broken off so that the next start takes it again."""
        self.pool.close(wait=False)
        self._rounds.end()
        self._post.end()
        for executor in (self._filing, self._reading):
            executor.shutdown(wait=False, cancel_futures=True)
        until = time.monotonic() + END_S
        while self.still_moving() and time.monotonic() < until:
            time.sleep(0.05)
        if self._desk.busy() and not self.still_moving():
            self._tidying = threading.Thread(target=self._tidy, name="tidying", daemon=True)
            self._tidying.start()
            self._tidying.join(max(0.0, until - time.monotonic()))
        self._roots.end()
        try:
            self.ledger.set_arriving(())
            self._voice.say("ended", "", "the daemon stopped in order")
            self.ledger.end_run(self._run, now_utc().isoformat())
        except LedgerError as error:
            log.error("%s", error)

    def still_moving(self) -> bool:
        """Whether a thread is held up in the middle of something: by a disk that hangs, once the daemon has ended."""
        tidying = self._tidying is not None and self._tidying.is_alive()
        return self._filing.works() or self._reading.works() or tidying

    def _tidy(self) -> None:
        """In a thread of its own: the folder that is to be tidied may be the one that hangs."""
        try:
            self._desk.end()
        except LedgerError as error:
            log.error("%s", error)

    def _proceed(self) -> None:
        """Asked between the steps, and at every block, of everything that moves or copies."""
        self._asked_s = time.monotonic()
        if self.stop.is_set():
            raise BrokenOff("the daemon is stopping; this goes on at the next start")

    # one turn

    def _turn(self, observer: InboxObserver) -> None:
        now = self.clock()
        try:
            for name, step in (
                ("folders", self._health_of_roots),
                ("inbox", lambda: self._watch_inbox(observer, now)),
                ("files", lambda: self._arrivals.look(now)),
                ("desk", lambda: self._desk.collect(now)),
                ("jobs", lambda: self._look_at_jobs(now)),
                ("retry", lambda: self._desk.retry(now)),
                ("second", lambda: self._second.look(now)),
                ("moves", self._say_if_held),
                ("night", lambda: self._night(now)),
                ("reasons", lambda: self._reasons_when_due(now)),
                ("signs of life", lambda: self._beat(observer, now)),
            ):
                self._step(name, step)
            self._voice.calm("ledger")
        except LedgerError as error:
            self._voice.alarm("ledger", str(error))
        self.pool.watch()
        self._hear_news()
        with self._rounds.step("screen"):
            self._show()

    def _show(self) -> None:
        self.on_tick(Tick(self.pool.progress(), self._voice.alarms))

    def _hear_news(self) -> None:
        for news in self.news():
            if news.over:
                self._voice.calm(f"cluster {news.key}")
            elif news.key:
                self._voice.alarm(f"cluster {news.key}", news.text)
            else:
                self._voice.say("cluster", "", news.text)

    def _step(self, name: str, step: Callable[[], None]) -> None:
        """An error of one folder or disk must not hold up the others; one of the ledger stops the turn."""
        try:
            with self._rounds.step(name):
                step()
        except LedgerError:
            raise
        except (MoveError, EnvironmentFault, OSError) as error:
            self._voice.alarm(f"step {name}", str(error))
        else:
            self._voice.calm(f"step {name}")

    def _say_if_held(self) -> None:
        """A disk may answer and yet not take what is written to it."""
        since_s = max(self._asked_s, self._filing.begun_s())
        if self._filing.works() and time.monotonic() - since_s > HELD_S:
            self._voice.alarm("moves", "filing waits for a disk that is slow or hangs; look at its health. Scans are "
                              "still watched and measured")  # fmt: skip
        else:
            self._voice.calm("moves")

    def _health_of_roots(self) -> None:
        problems = self._roots.problems()
        for problem in problems:
            self._voice.alarm(f"root {problem.root}", problem.text)
        self._voice.calm_all("root ", frozenset(f"root {p.root}" for p in problems))

    def _watch_inbox(self, observer: InboxObserver, now: float) -> None:
        if self._roots.sound(self.studio.inbox):
            observer.tend()
        if self._arrivals.take_hints(self._hints):
            self._last_scan_s = min(self._last_scan_s, now - self._scan_every() + 0.5)
        if now - self._last_scan_s < self._scan_every() or not self._roots.sound(self.studio.inbox):
            return
        self._last_scan_s = now
        listed, problems = self.studio.job_list()
        self._arrivals.listed = self._desk.listed = listed
        for problem in problems:
            self._arrivals.staying.stay(StayingRow(problem, "jobs.csv", problem, "job list"))
        self._note_stillness(self._arrivals.full_scan(), now)
        self._departed.look(self._desk.moving)

    def _scan_every(self) -> float:
        intake = self.studio.book.intake
        return min(intake.scan_s, max(LEAST_SCAN_S, intake.settle_s)) if self.until_idle else intake.scan_s

    def _note_stillness(self, seen: frozenset[tuple[Path, Identity]], now: float) -> None:
        """Idle: two full scans `settle_s` apart without change."""
        if seen != self._seen_before:
            self._seen_before, self._seen_at_s = seen, now
            self._idle = self._arrivals.impatient = False
        elif now - self._seen_at_s >= self.studio.book.intake.settle_s:
            self._idle = True
            if self.until_idle:
                self._arrivals.be_impatient(now)
        self._desk.idle = self.until_idle and self._idle and not self._arrivals.left()

    def _look_at_jobs(self, now: float) -> None:
        self._desk.idle = self.until_idle and self._idle and not self._arrivals.left()
        self._desk.look(now, self._arrivals.arriving_jobs())

    def _admitted(self, admitted: Admitted) -> None:
        self._desk.came(admitted.row, self.clock())

    def _night(self, now: float) -> None:
        if not self.until_idle:
            quiet = not (self._arrivals.busy() or self._desk.busy() or self._second.busy())
            if self._roots.sound(self.studio.archive) and self._roots.sound(self.studio.morning):
                self._nights.look(now, self.local_time(), quiet)
            self._forecast.look(now, self.local_time())
            self._post.look(now, self.local_time())

    def _reasons_when_due(self, now: float) -> None:
        """REASONS.txt is written whole, so not for every file of a flood."""
        if (self._arrivals.staying.reasons_due or self._desk.reasons_due) and now - self._last_reasons_s >= 1.0:
            self._last_reasons_s = now
            self._roots.check(self.studio.rework)
            write_reasons(self.studio, self.ledger)
            self._arrivals.staying.reasons_due = self._desk.reasons_due = False

    def _beat(self, observer: InboxObserver, now: float) -> None:
        if now - self._last_beat_s < self.beat_s:
            return
        self._last_beat_s = now
        self.ledger.beat(self._run, now_utc().isoformat())
        self._arrivals.show()
        dead = [name for name, lives in (("filing", self._filing.lives()), ("reading", self._reading.lives()),
                ("watching", observer.lives() or not self._roots.sound(self.studio.inbox))) if not lives]  # fmt: skip
        if dead:
            self._voice.alarm("threads", f"a part of the daemon has died ({', '.join(dead)}): stop it and start it "
                              "again, as a service manager does by itself; nothing is lost")  # fmt: skip
        else:
            self._voice.calm("threads")
            self.notify.alive("; ".join(self._voice.alarms) or f"watching {self.studio.root}")

    # the end of `--until-idle`

    def _all_done(self) -> bool:
        """Everything has its end; or what is left cannot come to one now, and was tried again."""
        busy = self._arrivals.busy() or self._desk.busy() or self._second.busy()
        left = not self._idle or self._arrivals.left() or self._arrivals.staying.reasons_due or self._desk.reasons_due
        try:
            if not (left or self._desk.left() or self._second.left()) and not busy:
                return True
            mark = (len(self.ledger.waiting_scans()), len(self.ledger.open_filings()), self._seen_before)
        except LedgerError:
            mark = (0, 0, self._seen_before)
        still = self._idle or bool(self._voice.alarms)
        if mark != self._stuck_mark or not still:
            self._stuck_mark, self._stuck_since_s = mark, self.clock()
        return not busy and self.clock() - self._stuck_since_s > (
            1.5 * self.retry_s + 2 * self.studio.book.intake.settle_s + 2.0
        )
