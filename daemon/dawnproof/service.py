"""The loop: watch the inbox, measure what is whole, judge what is complete, file, and say what happens."""

from __future__ import annotations

import logging
import queue
import shutil
import threading
import time
import traceback
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from .errors import EnvironmentFault, LedgerError, MoveError, NotAScan, NotWhole, ScanError, WorkerDied
from .jobs import Step, standing, wanted
from .ledger.ledger import Ledger
from .model import (
    ArrivingRow,
    EventRow,
    Identity,
    JobRow,
    JobState,
    ListedJob,
    Measured,
    Outcome,
    PartName,
    Place,
    Progress,
    ScanRow,
    StayingRow,
    shown,
)
from .naming import compile_rule, job_key
from .pipeline.filing import Filer
from .pipeline.intake import Arrived, admit, admitted_already, arrived, ask_for, place_elsewhere, said_event
from .pipeline.marks import recurring_scans
from .pipeline.outcome import Case, archive_filing, ask_of, close_case, open_case, rework_filing
from .pipeline.reasons import write_reasons
from .storage.disk import digest
from .storage.studio import Studio
from .storage.tiff import open_scan
from .storage.whole import bytes_in_holes
from .watch.gate import Gate, Passage, WholeChecks, ignore_lease_breaks, pass_gate
from .watch.inbox import Entry, Kind, scan_inbox
from .watch.observer import Hint, InboxObserver
from .watch.settle import Patience, Watched
from .workers.making import Made, make_job
from .workers.measuring import measure_scan
from .workers.pool import Pool

TICK_S = 0.2
BEAT_S = 5.0
RETRY_S = 10.0
SCAN_ENDINGS = (".tif", ".tiff", ".btf", ".tf8")
log = logging.getLogger("dawnproof")


def now_utc() -> datetime:
    """The time of day, for records; durations use the monotonic clock."""
    return datetime.now(UTC)


@dataclass
class _File:
    """A file of the inbox between its first sight and its scan row."""

    entry: Entry
    watched: Watched | None = None
    reason: str = ""
    state: str = "settling"
    since_utc: str = ""
    arrived: Arrived | None = None
    measuring: Future[Measured] | None = None
    identity: Identity | None = None
    look_s: float = 0.0
    deaths: int = 0


@dataclass
class _Work:
    """A job that is being made or filed."""

    case: Case
    making: Future[Made] | None = None
    filing: Future[None] | None = None


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
    pool: Pool
    on_event: Callable[[EventRow], None]
    on_tick: Callable[[Tick], None] = lambda tick: None
    until_idle: bool = False
    clock: Callable[[], float] = time.monotonic
    stop: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        self._rule = compile_rule(self.studio.book.naming.pattern, self.studio.book.name)
        intake = self.studio.book.intake
        self._patience = Patience(intake.settle_s, intake.give_up_min * 60)
        self._hints: queue.Queue[Hint] = queue.Queue(100_000)
        self._files: dict[Path, _File] = {}
        self._admitted: dict[Path, Identity] = {}
        self._work: dict[str, _Work] = {}
        self._elsewhere: dict[int, Future[None]] = {}
        self._filer = Filer(self.studio, self.ledger, lambda: now_utc().isoformat())
        self._filing = ThreadPoolExecutor(1, "filing")
        self._dirty: set[str] = set()
        self._alarms: dict[str, str] = {}
        self._listed: dict[str, ListedJob] = {}
        self._last_scan_s = -1e9
        self._last_beat_s = -1e9
        self._last_jobs_s = -1e9
        self._retry_s = 0.0
        self._seen_before: frozenset[tuple[Path, Identity]] | None = None
        self._seen_at_s = 0.0
        self._idle = False
        self._run = 0

    # the life of the daemon

    def run(self) -> None:
        """Until stopped, or until idle. Begins with recovery from whatever state the last run ended in."""
        ignore_lease_breaks()
        observer = InboxObserver([self.studio.inbox], self._hints)
        try:
            self._begin()
            observer.start()
            while not self.stop.is_set():
                self._turn(observer)
                if self.until_idle and self._idle and self._all_done():
                    break
                self.stop.wait(TICK_S)
        finally:
            observer.stop()
            self._end()

    def work_off(self) -> None:
        """Without watching: recover, do what people decided, and end."""
        self._filer.recover()
        self._listed, _ = self.studio.job_list()
        begun: set[str] = set()
        try:
            while True:
                for row in self.ledger.jobs(JobState.WORKING):
                    if row.job not in begun:
                        begun.add(row.job)
                        self._look_at_job(row.job)
                if not self._work:
                    return
                self._collect_work()
                self.pool.watch()
                self.stop.wait(TICK_S)
        finally:
            self.pool.close(wait=False)
            self._filing.shutdown(wait=True)

    def _begin(self) -> None:
        recovered = self._filer.recover()
        self._run = self.ledger.begin_run(now_utc().isoformat())
        self._say("begun", "", "the daemon watches the studio")
        if recovered:
            self._say("recovered", "", f"{recovered} filing(s) begun before the last stop were finished")
        self._scans_that_left()
        self._dirty |= {r.name.job for r in self.ledger.scans_at(Place.INBOX) if r.name and not r.reason}
        for row in self.ledger.scans_at(Place.INBOX):
            self._send_elsewhere(row)

    def _end(self) -> None:
        self.pool.close(wait=False)
        self._filing.shutdown(
            wait=True
        )  # a step in progress is finished; a plan that is open goes on at the next start
        for work in self._work.values():
            if work.filing is None:
                close_case(work.case)
        try:
            self.ledger.set_arriving(())
            self._say("ended", "", "the daemon stopped in order")
            self.ledger.end_run(self._run, now_utc().isoformat())
        except LedgerError as error:
            log.error("%s", error)

    def _turn(self, observer: InboxObserver) -> None:
        try:
            self._health(observer)
            self._take_hints()
            self._full_scan_when_due()
            self._look_at_files()
            self._collect_elsewhere()
            self._collect_work()
            self._look_at_jobs()
            self._retry_filings()
            self._beat()
            self._calm("ledger")
        except LedgerError as error:
            self._alarm("ledger", str(error))
        except EnvironmentFault as error:
            self._alarm("inbox", str(error))
        self.pool.watch()
        self.on_tick(Tick(self.pool.progress(), tuple(self._alarms.values())))

    def _health(self, observer: InboxObserver) -> None:
        for health in observer.tend():
            if health.there:
                self._calm("inbox")
            else:
                self._alarm("inbox", f"the inbox {shown(str(health.root))} is gone: {health.problem}")

    # the inbox

    def _take_hints(self) -> None:
        try:
            while True:
                hint = self._hints.get_nowait()
                if hint.path is None or hint.path not in self._files:
                    self._last_scan_s = min(self._last_scan_s, self.clock() - self._scan_every() + 0.5)
        except queue.Empty:
            return

    def _scan_every(self) -> float:
        every = self.studio.book.intake.scan_s
        return min(every, max(1.0, self.studio.book.intake.settle_s)) if self.until_idle else every

    def _full_scan_when_due(self) -> None:
        now = self.clock()
        if now - self._last_scan_s < self._scan_every():
            return
        self._last_scan_s = now
        self._listed, problems = self.studio.job_list()
        for problem in problems:
            self._stay(StayingRow(problem, "jobs.csv", problem, "job list"))
        found = scan_inbox(self.studio.inbox, {b.name for b in self.studio.book.beds})
        present = {e.path for e in found.entries}
        for entry in found.entries:
            self._see(entry)
        for path in [p for p in self._files if p not in present]:
            if self._files[path].measuring is None:
                del self._files[path]
        for trouble in found.troubles:
            self._stay(StayingRow(str(trouble.path), shown(trouble.path.name), trouble.reason, "unreadable"))
        self._scans_that_left()
        self._note_stillness(frozenset((e.path, e.identity) for e in found.entries), now)
        self._show_arriving()

    def _note_stillness(self, seen: frozenset[tuple[Path, Identity]], now: float) -> None:
        """Idle: two full scans `settle_s` apart without change."""
        if seen != self._seen_before:
            self._seen_before, self._seen_at_s = seen, now
            self._idle = False
        elif now - self._seen_at_s >= self.studio.book.intake.settle_s:
            self._idle = True

    def _see(self, entry: Entry) -> None:
        known = self._files.get(entry.path)
        if known is not None:
            known.entry = entry
            return
        if self._admitted.get(entry.path) == entry.identity:
            return
        row = self.ledger.scan_at_home(entry.path)
        if row is not None and row.place is Place.INBOX and not _touched(row, entry):
            return
        self._files[entry.path] = _File(entry, since_utc=now_utc().isoformat())

    def _scans_that_left(self) -> None:
        """A person took a waiting scan out of the inbox: said, and no longer counted."""
        if not self.studio.inbox.is_dir():
            return
        for row in self.ledger.scans_at(Place.INBOX):
            home = Path(row.home)
            busy = row.id in self._elsewhere or (row.name and row.name.job in self._work)
            if busy or home.exists() or not home.parent.is_dir():
                continue
            self.ledger.moved(row.id, Place.GONE, row.home, row.home, now_utc().isoformat())
            self._say(
                "gone",
                row.name.job if row.name else "",
                f"{row.file} was taken out of the inbox before its job had an outcome",
            )

    def _look_at_files(self) -> None:
        now = self.clock()
        for path, file in list(self._files.items()):
            if file.measuring is not None:
                if file.measuring.done():
                    self._measured(path, file, file.measuring)
                continue
            if now >= file.look_s:
                file.look_s = now + min(1.0, max(0.2, self._patience.settle_s / 5))
                self._pass_gate(path, file, now)

    def _pass_gate(self, path: Path, file: _File, now: float) -> None:
        impatient = self.until_idle and self._idle
        patience = Patience(self._patience.settle_s, 0.0) if impatient else self._patience
        is_tiff = path.suffix.lower() in SCAN_ENDINGS
        checks = WholeChecks(_prove_whole if is_tiff else _any_file, bytes_in_holes)
        passage = pass_gate(path, file.watched, now, patience, self.studio.book.intake.leave, checks)
        file.watched = passage.watched
        file.reason = passage.reason
        if passage.gate in {Gate.LEFT_ALONE, Gate.NEVER_TOUCHED}:
            kind = "left alone" if passage.gate is Gate.LEFT_ALONE else "never touched"
            self._stay(StayingRow(str(path), shown(path.name), passage.reason, kind))
            file.look_s = now + self.studio.book.intake.scan_s
        elif passage.gate in {Gate.GONE, Gate.FOLDER}:
            del self._files[path]
        elif passage.gate is Gate.WAIT:
            file.state = "settling" if file.entry.kind is Kind.FILE else "waiting"
        else:
            self._whole_or_set_aside(path, file, passage)

    def _whole_or_set_aside(self, path: Path, file: _File, passage: Passage) -> None:
        file.arrived = arrived(self.studio, self.ledger, self._rule, path, file.entry.bed, self._listed)
        file.identity = passage.identity
        if passage.gate is Gate.DAMAGED:
            self._enter(path, file, None, NotWhole(passage.reason), None)
        elif passage.gate is Gate.NOT_A_SCAN or path.suffix.lower() not in SCAN_ENDINGS:
            self._enter(path, file, None, NotAScan(passage.reason or "it is no TIFF"), None)
        else:
            name = file.arrived.name
            job = name.job if isinstance(name, PartName) else ""
            listed = self._listed.get(job_key(job))
            book = self.studio.book.for_job(job, listed.medium if listed else "")
            file.state = "measuring"
            file.measuring = self.pool.submit(
                "measuring", shown(path.name), measure_scan, ask_for(file.arrived, book, listed)
            )

    def _measured(self, path: Path, file: _File, future: Future[Measured]) -> None:
        file.measuring = None
        try:
            measured = future.result()
        except WorkerDied as error:
            file.deaths += 1
            if file.deaths < 2 and "memory" not in str(error):
                file.state, file.watched = "settling", None  # once more: its neighbour may have been the cause
                return
            self._enter(path, file, None, error, None)
        except ScanError as error:
            if isinstance(error, NotWhole) and not (self.until_idle and self._idle):
                file.state, file.reason = "waiting", str(error)
                file.watched = replace(file.watched, problem=str(error)) if file.watched else None
                file.look_s = self.clock() + self._patience.settle_s
                file.deaths += 1
                if (
                    file.watched
                    and self.clock() - file.watched.since_s < self._patience.give_up_s
                    and file.deaths < 1000
                ):
                    return
            self._enter(path, file, None, error, None)
        except Exception as error:  # the one broad handler around one file: it must not end the night
            self._broke(path, file, error)
        else:
            self._enter(path, file, measured, None, measured.sha256)

    def _broke(self, path: Path, file: _File, error: Exception) -> None:
        self._say("error", "", f"{shown(path.name)}: measuring failed\n{''.join(traceback.format_exception(error))}")
        self._enter(
            path, file, None, ScanError(f"measuring failed inside the program ({type(error).__name__}: {error})"), None
        )

    def _enter(
        self, path: Path, file: _File, measured: Measured | None, error: ScanError | None, sha256: str | None
    ) -> None:
        """The scan gets its row; what belongs to no job's parts goes on to its own place."""
        try:
            if sha256 is None:
                sha256 = digest(path).sha256
            if Identity.of(path.lstat()) != file.identity:
                del self._files[path]  # replaced meanwhile: looked at as a new arrival
                return
        except (MoveError, OSError) as trouble:
            self._stay(StayingRow(str(path), shown(path.name), str(trouble), "unreadable"))
            file.look_s, file.watched = self.clock() + self.studio.book.intake.scan_s, None
            return
        del self._files[path]
        if file.identity is not None:
            self._admitted[path] = file.identity
        if file.arrived is None or admitted_already(self.ledger, path, sha256) is not None:
            return
        self._overwritten(path)
        row = admit(self.studio, self.ledger, file.arrived, measured, error, sha256, now_utc().isoformat())
        self._tell(said_event(row, row.admitted_utc))
        for finding in row.findings:
            self._say("alarm", row.name.job if row.name else "", finding.text)
        if not self._send_elsewhere(row) and row.name is not None:
            self._job_has_scan(row.name.job, row)

    def _overwritten(self, path: Path) -> None:
        old = self.ledger.scan_at_home(path)
        if old is not None and old.place is Place.INBOX:
            self.ledger.moved(old.id, Place.GONE, old.home, old.home, now_utc().isoformat())
            self._say(
                "alarm",
                old.name.job if old.name else "",
                f"{old.file} was overwritten in the inbox by another file before its job had an outcome",
            )

    def _job_has_scan(self, job: str, row: ScanRow) -> None:
        before = self.ledger.job(job) or JobRow(job, JobState.WAITING, first_utc=row.admitted_utc)
        state = before.state if before.state in {JobState.ARCHIVED, JobState.REWORK} else JobState.WAITING
        self.ledger.put_job(
            replace(
                before, last_utc=row.admitted_utc, state=state, said_unfinished=False, accepted=False, refused=False
            ),
            row.admitted_utc,
        )
        self._dirty.add(job)

    def _send_elsewhere(self, row: ScanRow) -> bool:
        filing = place_elsewhere(self.studio, row)
        if filing is None:
            return False
        self._elsewhere[row.id] = self._filing.submit(self._filer.carry_out, filing)
        return True

    def _collect_elsewhere(self) -> None:
        for scan, future in list(self._elsewhere.items()):
            if future.done():
                del self._elsewhere[scan]
                self._filed("", future)

    def _filed(self, job: str, future: Future[None]) -> bool:
        try:
            future.result()
        except MoveError as error:
            self._alarm(f"filing {job}", f"{job + ': ' if job else ''}{error}")
            self._retry_s = self.clock() + RETRY_S
            return False
        self._calm(f"filing {job}")
        return True

    # jobs

    def _look_at_jobs(self) -> None:
        now = self.clock()
        if now - self._last_jobs_s > 5.0 or (self.until_idle and self._idle):
            self._last_jobs_s = now
            open_states = (JobState.WAITING, JobState.UNFINISHED, JobState.WORKING)
            self._dirty |= {j.job for j in self.ledger.jobs(*open_states)}
            self._dirty |= {r.name.job for r in self.ledger.scans_at(Place.INBOX) if r.name and not r.reason}
        for job in sorted(self._dirty):
            self._dirty.discard(job)
            if job not in self._work and not self._still_arriving(job):
                self._look_at_job(job)

    def _still_arriving(self, job: str) -> bool:
        """A part of this job is being measured: its job is not judged behind its back."""
        return any(
            f.arrived is not None and isinstance(f.arrived.name, PartName) and f.arrived.name.job == job
            for f in self._files.values()
        )

    def _look_at_job(self, job: str) -> None:
        row = self.ledger.job(job)
        if row is None:
            return
        scans = self.ledger.scans_of(job)
        listed = self._listed.get(job_key(job))
        idle = self.until_idle and self._idle and not self._files_left()
        if row.state is JobState.WORKING:  # a person decided
            self._begin_job(row, scans, listed)
            return
        found = wanted(scans, self.studio.book.jobs, now_utc(), listed, idle, row.said_unfinished)
        if found.step is Step.NOTHING:
            if row.state in {JobState.WAITING, JobState.UNFINISHED}:
                self._settle_row(row)
        elif found.step is Step.WAIT:
            due = found.due.isoformat() if found.due else ""
            if (row.waits_for, row.waits_until_utc) != (found.waits_for, due):
                self.ledger.put_job(replace(row, waits_for=found.waits_for, waits_until_utc=due), now_utc().isoformat())
        elif found.step is Step.SAY_UNFINISHED:
            due = found.due.isoformat() if found.due else ""
            self.ledger.put_job(replace(row, state=JobState.UNFINISHED, waits_for=found.waits_for, waits_until_utc=due,
                                        said_unfinished=True), now_utc().isoformat())  # fmt: skip
            self._say("unfinished", job, f"{job} waits for {found.waits_for}")
        else:
            self._begin_job(row, scans, listed)

    def _settle_row(self, row: JobRow) -> None:
        """Nothing of the job waits in the inbox any more."""
        state = JobState.ARCHIVED if row.outcome is Outcome.ARCHIVE else JobState.REWORK if row.outcome else row.state
        if state is not row.state or row.waits_for:
            self.ledger.put_job(replace(row, state=state, waits_for="", waits_until_utc=""), now_utc().isoformat())

    def _begin_job(self, row: JobRow, scans: tuple[ScanRow, ...], listed: ListedJob | None) -> None:
        if not self._room_for(scans):
            return
        case = open_case(self.studio, row, standing(scans, listed), listed)
        ask = ask_of(case, self.studio, self.ledger, recurring_scans(self.ledger, scans))
        future = self.pool.submit(
            "joining" if len(ask.parts) > 1 else "filing", row.job, make_job, ask, long=len(ask.parts) > 1
        )
        self._work[row.job] = _Work(case, making=future)

    def _room_for(self, scans: tuple[ScanRow, ...]) -> bool:
        need = 2 * sum(s.size_bytes for s in scans) + int(self.studio.book.archive.reserve_gb * 1e9)
        free = shutil.disk_usage(self.studio.archive).free
        if free < need:
            self._alarm(
                "space",
                f"the archive has {free / 1e9:.1f} GB left, {need / 1e9:.1f} GB are needed with the reserve: make room; nothing is filed until then",
            )
            return False
        self._calm("space")
        return True

    def _collect_work(self) -> None:
        for job, work in list(self._work.items()):
            try:
                if work.making is not None and work.making.done():
                    self._made(job, work, work.making)
                elif work.filing is not None and work.filing.done():
                    self._job_filed(job, work, work.filing)
            except LedgerError:
                raise
            except MoveError as error:
                self._alarm(f"filing {job}", f"{job}: {error}")
                self._give_back(job, work)
            except Exception as error:  # the one broad handler around one job
                self._say("error", job, f"{job}: could not be judged\n{''.join(traceback.format_exception(error))}")
                self._alarm(
                    f"job {job}",
                    f"{job}: could not be judged ({type(error).__name__}: {error}); its scans stay where they are",
                )
                self._give_back(job, work)

    def _give_back(self, job: str, work: _Work) -> None:
        """The scans stay where they are; the job is looked at again later."""
        self._work.pop(job, None)
        close_case(work.case)

    def _made(self, job: str, work: _Work, future: Future[Made]) -> None:
        work.making = None
        made = future.result()
        for scan, findings in made.scan_findings:
            self.ledger.set_findings(scan, findings)
        plan = archive_filing if made.outcome is Outcome.ARCHIVE else rework_filing
        filing = plan(work.case, self.studio, self.ledger, made, now_utc())
        work.filing = self._filing.submit(self._filer.carry_out, filing)

    def _job_filed(self, job: str, work: _Work, future: Future[None]) -> None:
        work.filing = None
        del self._work[job]
        if not self._filed(job, future):
            return
        row = self.ledger.job(job)
        if row is not None and row.outcome is not None:
            where = f"archived as version {row.version}" if row.version > 1 else "archived"
            text = where if row.outcome is Outcome.ARCHIVE else "to rework: " + self._worst(row)
            self._say("filed", job, f"{job} {text}")

    def _worst(self, row: JobRow) -> str:
        faults = [f for f in row.findings if f.level.value == "fault"]
        for scan in self.ledger.scans_of(row.job):
            if scan.place is Place.REWORK:
                faults += [f for f in scan.findings if f.level.value == "fault"]
        return faults[0].text if faults else "see its note"

    def _retry_filings(self) -> None:
        if self._retry_s and self.clock() >= self._retry_s and not self._work and not self._elsewhere:
            self._retry_s = self.clock() + RETRY_S
            try:
                if self._filing.submit(self._filer.retry).result() >= 0:
                    self._retry_s = 0.0
                    for key in [k for k in self._alarms if k.startswith("filing")]:
                        self._calm(key)
            except MoveError as error:
                self._alarm("filing ", str(error))

    # idleness, signs of life, words

    def _files_left(self) -> bool:
        return any(f.state in {"measuring", "settling"} and not self._is_staying(f) for f in self._files.values())

    def _is_staying(self, file: _File) -> bool:
        return file.entry.kind is not Kind.FILE or file.look_s > self.clock() + 5.0

    def _all_done(self) -> bool:
        if self._files_left() or self._work or self._elsewhere or self._dirty:
            return False
        waiting = [r for r in self.ledger.scans_at(Place.INBOX) if not r.reason]
        return not waiting or bool(self._alarms)

    def _beat(self) -> None:
        now = self.clock()
        if now - self._last_beat_s >= BEAT_S:
            self._last_beat_s = now
            self.ledger.beat(self._run, now_utc().isoformat())
            self._show_arriving()

    def _show_arriving(self) -> None:
        rows = [
            (str(path).encode("utf-8", "surrogateescape"),
             ArrivingRow(shown(path.name), f.entry.bed or self.studio.book.beds[0].name, f.entry.identity.size, f.since_utc,
                         f.state, f.reason))
            for path, f in self._files.items() if not self._is_staying(f)
        ]  # fmt: skip
        self.ledger.set_arriving(rows)

    def _stay(self, row: StayingRow) -> None:
        if self.ledger.stays(row, now_utc().isoformat()):
            self._say("stays", "", f"{row.file} stays where it is: {row.reason}")
            if row.kind != "left alone":
                write_reasons(self.studio, self.ledger)

    def _alarm(self, key: str, text: str) -> None:
        if self._alarms.get(key) != text:
            self._alarms[key] = text
            self._tell(EventRow(now_utc().isoformat(), "alarm", "", text))

    def _calm(self, key: str) -> None:
        if self._alarms.pop(key, None) is not None:
            self._tell(EventRow(now_utc().isoformat(), "mended", "", f"{key}: as it should be again"))

    def _say(self, kind: str, job: str, text: str) -> None:
        self._tell(EventRow(now_utc().isoformat(), kind, job, text))

    def _tell(self, event: EventRow) -> None:
        self.on_event(event)
        try:
            self.ledger.say(event)
        except LedgerError as error:
            log.error("%s", error)


def _touched(row: ScanRow, entry: Entry) -> bool:
    """Whether the file may have changed after it was admitted: then it is read again, as a new arrival."""
    admitted_s = datetime.fromisoformat(row.admitted_utc).timestamp()
    return entry.identity.size != row.size_bytes or entry.identity.mtime_ns / 1e9 > admitted_s


def _prove_whole(path: Path) -> None:
    with open_scan(path):
        return


def _any_file(path: Path) -> None:
    """Anything that is no TIFF by name: set aside whole or not."""
