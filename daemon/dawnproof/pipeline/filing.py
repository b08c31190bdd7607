"""Carries out a filing: every step was decided and made durable before the first is taken, and each step can be taken
again. So recovery after a crash is one function: take the open filings again from the start."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ..errors import LedgerError, MoveError
from ..ledger.ledger import Ledger
from ..model import EventRow, Filing, FilingStep, Place, StepKind, shown
from ..storage.disk import digest, identity
from ..storage.free_names import free_name
from ..storage.moves import make_folder, move
from ..storage.studio import Studio
from .roots import Roots
from .steps import clear, clear_leftovers, close, discard, put, settle, show


@dataclass(frozen=True, slots=True)
class Taken:
    """What came of open filings: the jobs ('' for a scan of none) that are done, and why others are not, by job."""

    done: tuple[str, ...]
    problems: tuple[tuple[str, str], ...]


class Filer:
    """The one place that moves scans. `now_utc` gives the time as ISO text; `proceed` is asked before every step and
    raises when the daemon is to stop: the plan stays open and goes on at the next start."""

    def __init__(
        self,
        studio: Studio,
        ledger: Ledger,
        roots: Roots,
        now_utc: Callable[[], str],
        proceed: Callable[[], None] = lambda: None,
    ) -> None:
        self._studio = studio
        self._ledger = ledger
        self._roots = roots
        self._now_utc = now_utc
        self.proceed = proceed

    def carry_out(self, filing: Filing) -> None:
        """Make the plan durable, take its steps, enter the result. MoveError leaves the plan open: `recover` goes on
        with it."""
        for step in filing.steps:
            self._roots.check(Path(step.target))
        number = self._ledger.begin_filing(filing, self._now_utc())
        self._take(number, filing)

    def recover(self) -> Taken:
        """Finish what was begun before a crash, then clear what no plan needs. Idempotent; a filing that cannot be
        finished now stays open and holds up no other."""
        taken = self.retry()
        clear_leftovers(self._studio, self._ledger, {filing.job for _, filing in self._ledger.open_filings()})
        return taken

    def retry(self) -> Taken:
        """Go on with filings that are open."""
        done, problems = [], []
        for number, filing in self._ledger.open_filings():
            try:
                self._take(number, filing)
                done.append(filing.job)
            except MoveError as error:
                problems.append((filing.job, str(error)))
        return Taken(tuple(done), tuple(problems))

    def busy_jobs(self) -> frozenset[str]:
        """Jobs with an open filing: their stagings may hold the only copy of a scan."""
        return frozenset(filing.job for _, filing in self._ledger.open_filings() if filing.job)

    def busy_scans(self) -> frozenset[int]:
        """Scans an open filing moves."""
        filings = self._ledger.open_filings()
        return frozenset(s.scan for _, f in filings for s in f.steps if s.kind is StepKind.MOVE_SCAN)

    def _take(self, number: int, filing: Filing) -> None:
        for step in filing.steps:
            self.proceed()
            self._roots.check(Path(step.target))
            try:
                self._step(step, filing)
            except LedgerError:
                raise
            except MoveError:
                if step.kind is not StepKind.MOVE_SCAN or not self._is_lost(step):
                    raise
                if step.final:
                    self._abandon(number, filing, step)
                    return
                self._lost(step, filing)
        self._ledger.end_filing(number, filing, self._now_utc())

    def _step(self, step: FilingStep, filing: Filing) -> None:
        source, target = Path(step.source), Path(step.target)
        if step.kind is StepKind.MAKE_FOLDER:
            make_folder(target)
        elif step.kind is StepKind.MOVE_SCAN:
            self._move(step, source, target)
        elif step.kind is StepKind.PUT:
            put(source, target)
        elif step.kind is StepKind.SETTLE:
            settle(source, target)
            self._homes_settled(filing)
        elif step.kind is StepKind.SHOW:
            show(source, target)
        elif step.kind is StepKind.CLOSE:
            close(source, target)
        else:
            clear(target)

    def _move(self, step: FilingStep, source: Path, target: Path) -> None:
        place = step.place or Place.ARCHIVE
        if step.final:
            # the staged folder may have settled already; the home follows when it does
            if not Path(step.final).exists():
                move(source, target, step.sha256, proceed=self.proceed)
            return
        move(source, target, step.sha256, proceed=self.proceed)
        self._ledger.moved(step.scan, place, str(target), str(source), self._now_utc())

    def _homes_settled(self, filing: Filing) -> None:
        with self._ledger.together():
            for step in filing.steps:
                if step.kind is StepKind.MOVE_SCAN and step.final:
                    self._ledger.moved(step.scan, step.place or Place.ARCHIVE, step.final, step.source, self._now_utc())

    # a scan that a person took or the scanner wrote over while its filing was under way

    def _is_lost(self, step: FilingStep) -> bool:
        if any(identity(Path(path)) is not None for path in (step.target, step.final) if path):
            return False
        source = Path(step.source)
        self._roots.check(source)
        return identity(source) is None or digest(source, lambda octets: self.proceed()).sha256 != step.sha256

    def _lost(self, step: FilingStep, filing: Filing) -> None:
        """The filing goes on without it."""
        self._ledger.moved(step.scan, Place.GONE, step.source, step.source, self._now_utc())
        self._say(filing.job, f"{shown(Path(step.source).name)} was changed or taken away while it was being filed")

    def _say(self, job: str, text: str) -> None:
        self._ledger.say(EventRow(self._now_utc(), "alarm", job, text))

    def _abandon(self, number: int, filing: Filing, lost: FilingStep) -> None:
        """A bag without one of its scans is none: what was staged goes back where it came from, and the job is judged
        anew."""
        for step in reversed(filing.steps):
            if step.kind is StepKind.MOVE_SCAN and step.final and identity(Path(step.target)) is not None:
                self._take_back(step)
        for step in filing.steps:
            if step.kind in {StepKind.SETTLE, StepKind.SHOW}:
                discard(Path(step.source), self._ledger)
        self._ledger.abandon_filing(number, self._now_utc())
        name = shown(Path(lost.source).name)
        self._say(
            filing.job, f"{name} was changed or taken away while {filing.job} was being filed; it is judged again"
        )

    def _take_back(self, step: FilingStep) -> None:
        home = Path(step.source)
        if identity(home) is not None and digest(home).sha256 != step.sha256:
            home = home.parent / free_name(home.parent, home.name)
            place = Place.INBOX if home.is_relative_to(self._studio.inbox) else Place.REWORK
            self._ledger.moved(step.scan, place, str(home), step.source, self._now_utc())
        make_folder(home.parent)
        move(Path(step.target), home, step.sha256)
