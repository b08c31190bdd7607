"""Jobs from their first scan to their filing: which are looked at, judged by a child, filed, and tried again."""

from __future__ import annotations

import shutil
import traceback
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace

from ..errors import LedgerError, MoveError
from ..jobs import Step, standing, wanted
from ..ledger.ledger import Ledger
from ..model import JobRow, JobState, Level, ListedJob, Outcome, Place, ScanRow, shown
from ..naming import job_key
from ..pipeline.filing import Filer, Taken
from ..pipeline.intake import belongs_elsewhere, place_elsewhere
from ..pipeline.marks import recurring_scans
from ..pipeline.outcome import Case, archive_filing, ask_of, close_case, open_case, rework_filing
from ..pipeline.roots import Roots
from ..storage.studio import Studio
from ..workers.engine import Engine
from ..workers.job_asks import Made
from ..workers.making import make_job
from .voice import Voice, now_utc

LOOK_S = 5.0  # between two looks for jobs that changed without a word: a person decided, a clock ran out
REST_S = 60.0  # a job that waits is not looked at again before this, unless something comes
POLL_S = 2.0  # between two looks for filings that a command planned
MOST_AT_ONCE = 6  # jobs being made or filed; more where many computers help


@dataclass
class _Work:
    case: Case
    making: Future[Made] | None = None
    filing: Future[None] | None = None
    made_on: str = ""  # the helper that joined or cropped it; '' = this machine


class Desk:
    """`look`, `collect` and `retry` are called by the loop; moves are made by one thread, in order."""

    def __init__(
        self,
        studio: Studio,
        ledger: Ledger,
        pool: Engine,
        roots: Roots,
        voice: Voice,
        filer: Filer,
        filing: Executor,
        retry_s: float,
    ) -> None:
        self._studio, self._ledger, self._pool, self._roots, self._voice = studio, ledger, pool, roots, voice
        self._filer, self._filing = filer, filing
        self._retry_s = retry_s
        self._dirty: dict[str, None] = {}
        self._rests: dict[str, float] = {}
        self._work: dict[str, _Work] = {}
        self._elsewhere: dict[int, Future[None]] = {}
        self._to_send: dict[int, ScanRow] = {}
        self._trying: Future[Taken] | None = None
        self._try_at_s = 0.0
        self._looked_s = -1e9
        self.idle = False  # nothing more will come: incomplete jobs are judged as they stand
        self.reasons_due = False
        self.listed: dict[str, ListedJob] = {}

    # what the loop asks

    def busy(self) -> bool:
        """Whether something is being made or moved right now."""
        return bool(self._work or self._elsewhere or self._trying)

    def left(self) -> bool:
        """Whether jobs or scans still want something."""
        return bool(self._dirty or self._to_send) or self._ledger.any_waits() or self._ledger.anything_to_file()

    def moving(self) -> frozenset[int]:
        """Scans that are being moved: not missing when their old place is empty."""
        made = (r.id for work in self._work.values() for r in work.case.standing.used)
        return self._filer.busy_scans() | frozenset(self._elsewhere) | frozenset(made)

    # scans that belong to no job's parts

    def came(self, row: ScanRow, now: float) -> None:
        """A scan was admitted."""
        if belongs_elsewhere(row):
            self._send(row)
        elif row.name is not None:
            self._dirty[row.name.job] = None
            self._rests.pop(row.name.job, None)

    def begin(self, now: float) -> None:
        """After a start: what waits in the inbox is taken up again."""
        self._dirty |= dict.fromkeys(self._ledger.waiting_jobs())
        moving = self._filer.busy_scans()
        for row in self._ledger.scans_at(Place.INBOX):
            if belongs_elsewhere(row) and row.id not in moving:
                self._send(row)
        if moving:
            self._try_at_s = now + self._retry_s

    def _send(self, row: ScanRow) -> None:
        self._elsewhere[row.id] = self._filing.submit(self._place, row)
        self._to_send[row.id] = row

    def _place(self, row: ScanRow) -> None:
        filing = place_elsewhere(self._studio, row, self._roots)
        if filing is not None:
            self._filer.carry_out(filing)

    # jobs

    def look(self, now: float, arriving: frozenset[str]) -> None:
        """Look at the jobs that changed, in the order their first scans came."""
        if now - self._looked_s > (0.5 if self.idle else LOOK_S):
            self._looked_s = now
            waiting = [j for j in self._ledger.waiting_jobs() if self.idle or self._rests.get(j, 0.0) <= now]
            self._dirty |= dict.fromkeys((*self._ledger.jobs_in(JobState.WORKING), *waiting))
        if not self._dirty:
            return
        busy = self._filer.busy_jobs()
        for job in list(self._dirty):
            if len(self._work) >= max(MOST_AT_ONCE, 2 * self._pool.places()):
                return
            del self._dirty[job]
            if job in self._work or job in arriving or job in busy:
                continue
            self._rests[job] = now + REST_S
            try:
                self._look_at_job(job, now)
            except (LedgerError, MoveError, OSError):
                raise
            except Exception as error:  # as in `collect`: one job that cannot be judged must not end the night
                self._could_not(job, error, now)

    def begin_working(self) -> None:
        """Begin the jobs people decided."""
        busy = self._filer.busy_jobs()
        for job in self._ledger.jobs_in(JobState.WORKING):
            if job not in self._work and job not in busy:
                self._look_at_job(job, 0.0)

    def _look_at_job(self, job: str, now: float) -> None:
        scans = [s for s in self._ledger.scans_of(job) if not belongs_elsewhere(s)]
        row = self._ledger.job(job)
        if row is None:
            return
        listed = self.listed.get(job_key(job))
        if row.state is JobState.WORKING:  # a person decided
            self._begin_job(row, scans, listed, now)
            return
        found = wanted(scans, self._studio.book.jobs, now_utc(), listed, self.idle, row.said_unfinished)
        due = found.due.isoformat() if found.due else ""
        when = now_utc().isoformat()
        if found.step is Step.NOTHING:
            self._settle_row(row)
        elif found.step is Step.WAIT:
            if found.due:
                self._rests[job] = now + min(REST_S, max(0.5, (found.due - now_utc()).total_seconds()))
            if (row.waits_for, row.waits_until_utc) != (found.waits_for, due):
                self._ledger.put_job(replace(row, waits_for=found.waits_for, waits_until_utc=due), when)
        elif found.step is Step.SAY_UNFINISHED:
            self._ledger.put_job(replace(row, state=JobState.UNFINISHED, waits_for=found.waits_for, waits_until_utc=due,
                                         said_unfinished=True), when)  # fmt: skip
            self._voice.say("unfinished", job, f"{job} waits for {found.waits_for}")
        else:
            # what a person decided held for the scans of then, not for those that came since
            self._begin_job(replace(row, accepted=False, refused=False), scans, listed, now)

    def _settle_row(self, row: JobRow) -> None:
        """Nothing of the job waits in the inbox any more."""
        state = JobState.ARCHIVED if row.outcome is Outcome.ARCHIVE else JobState.REWORK if row.outcome else row.state
        if state is not row.state or row.waits_for:
            now = replace(row, state=state, waits_for="", waits_until_utc="")
            self._ledger.put_job(now, now_utc().isoformat())

    def _begin_job(self, row: JobRow, scans: list[ScanRow], listed: ListedJob | None, now: float) -> None:
        try:
            for root in (self._studio.archive, self._studio.proof, self._studio.rework):
                self._roots.check(root)
            if not self._room_for(scans):
                self._rests[row.job] = now + self._retry_s
                return
            case = open_case(self._studio, self._ledger, row, standing(scans, listed), listed)
        except LedgerError:
            raise
        except (MoveError, OSError) as error:
            self._voice.alarm(f"filing {row.job}", f"{row.job}: {error}")
            self._rests[row.job] = now + self._retry_s
            return
        ask = ask_of(case, self._studio, self._ledger, recurring_scans(self._ledger, scans, self._studio.book.beds))
        long = len(ask.parts) > 1
        making = self._pool.submit("joining" if long else "filing", row.job, make_job, ask, long=long)
        self._work[row.job] = _Work(case, making)

    def _room_for(self, scans: list[ScanRow]) -> bool:
        need = 2 * sum(s.size_bytes for s in scans) + int(self._studio.book.archive.reserve_gb * 1e9)
        free = shutil.disk_usage(self._studio.archive).free
        if free < need:
            self._voice.alarm("space", f"the archive has {free / 1e9:.1f} GB left, {need / 1e9:.1f} GB are needed with "
                              "the reserve: make room; nothing is filed until then")  # fmt: skip
            return False
        self._voice.calm("space")
        return True

    # what came of it

    def collect(self, now: float) -> None:
        """Take up what children and the filing thread have finished."""
        for scan, future in list(self._elsewhere.items()):
            if future.done():
                del self._elsewhere[scan]
                if self._filed("", future, now):
                    self._to_send.pop(scan, None)
                    self.reasons_due = True
        for job, work in list(self._work.items()):
            try:
                if work.making is not None and work.making.done():
                    self._made(job, work, work.making)
                elif work.filing is not None and work.filing.done():
                    self._job_filed(job, work, work.filing, now)
            except LedgerError:
                self._give_back(job, now)
                raise
            except Exception as error:  # the one broad handler around one job
                self._could_not(job, error, now)
        self._collect_retry(now)

    def _made(self, job: str, work: _Work, future: Future[Made]) -> None:
        work.making = None
        made = future.result()
        work.made_on = self._pool.helper_of(future)
        work.filing = self._filing.submit(self._plan_and_file, work.case, made)

    def _plan_and_file(self, case: Case, made: Made) -> None:
        """In the filing thread: a new version of a bag first copies the parts that stay the same."""
        for scan, findings in made.scan_findings:
            self._ledger.set_findings(scan, findings)
        if made.outcome is Outcome.ARCHIVE:
            plan = archive_filing(case, self._studio, self._ledger, made, now_utc(), self._filer.proceed)
        else:
            plan = rework_filing(case, self._studio, self._ledger, made, now_utc())
        self._filer.carry_out(plan)

    def _job_filed(self, job: str, work: _Work, future: Future[None], now: float) -> None:
        if not self._filed(job, future, now):
            self._give_back(job, now)
            return
        del self._work[job]
        self._rests.pop(job, None)
        close_case(work.case, self._ledger)
        self.say_outcome(job, work.made_on)

    def say_outcome(self, job: str, made_on: str = "") -> None:
        """What became of a job, in a line of the night; and which helper made its image."""
        row = self._ledger.job(job)
        if row is not None and row.outcome is not None:
            where = f"archived as version {row.version}" if row.version > 1 else "archived"
            text = where if row.outcome is Outcome.ARCHIVE else "to rework: " + self._worst(row)
            self._voice.say("filed", job, f"{job} {text}{f' (made on {shown(made_on)})' if made_on else ''}")

    def _filed(self, job: str, future: Future[None], now: float) -> bool:
        try:
            future.result()
        except MoveError as error:
            self._voice.alarm(f"filing {job}", f"{job + ': ' if job else ''}{error}")
            self._try_at_s = now + self._retry_s
            return False
        self._voice.calm(f"filing {job}")
        return True

    def _could_not(self, job: str, error: Exception, now: float) -> None:
        text = f"{job}: could not be judged ({type(error).__name__}: {error}); its scans stay where they are"
        if self._voice.standing.get(f"job {job}") != text:
            self._voice.say("error", job, f"{job}: could not be judged\n{''.join(traceback.format_exception(error))}")
        self._voice.alarm(f"job {job}", text)
        self._give_back(job, now)

    def _give_back(self, job: str, now: float) -> None:
        """The scans stay where they are; the job is looked at again later. An open filing keeps its staging."""
        work = self._work.pop(job, None)
        self._rests[job] = now + self._retry_s
        if work is not None and job not in self._filer.busy_jobs():
            close_case(work.case, self._ledger)

    def _worst(self, row: JobRow) -> str:
        scans = [s for s in self._ledger.scans_of(row.job) if s.place is Place.REWORK]
        findings = (*row.findings, *(f for s in scans for f in s.findings))
        return next((f.text for f in findings if f.level is Level.FAULT), "see its note")

    # trying again

    def retry(self, now: float) -> None:
        """Filings that stopped at an error, or were planned by a command, go on."""
        if self._trying is not None or now < self._try_at_s:
            return
        moving = self._filer.busy_scans()
        for scan, row in list(self._to_send.items()):
            if scan in moving:
                del self._to_send[scan]  # its filing is open and is tried again itself
            elif scan not in self._elsewhere:
                self._send(row)
        if moving or self._ledger.anything_to_file():
            self._try_at_s = now + self._retry_s
            self._trying = self._filing.submit(self._filer.retry)
        else:
            self._try_at_s = now + min(self._retry_s, POLL_S)

    def _collect_retry(self, now: float) -> None:
        if self._trying is None or not self._trying.done():
            return
        future, self._trying = self._trying, None
        taken = future.result()
        self.reasons_due = True
        for job in taken.done:
            if job:
                self.say_outcome(job)
        for job, text in taken.problems:
            self._voice.alarm(f"filing {job}", f"{job + ': ' if job else ''}{text}")
        self._voice.calm_all("filing", frozenset(f"filing {job}" for job, _ in taken.problems))
        self._dirty |= dict.fromkeys(self._ledger.waiting_jobs())

    def end(self) -> None:
        """Attempts that were not filed come to nothing; open filings go on at the next start."""
        busy = self._filer.busy_jobs()
        for job, work in self._work.items():
            if job not in busy:
                close_case(work.case, self._ledger)
