"""Any evening at all: scans arrive, are replaced, taken away, put back, scanned again; the daemon runs, dies at any
step, meets errors, starts again. A simple model says what must be where."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from faults import evening
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from dawnproof.ledger.connection import Connection
from dawnproof.ledger.ledger import Ledger
from dawnproof.model import Outcome, Place
from dawnproof.pipeline import steps
from dawnproof.storage import disk, moves

PARTS = ("SL-0001_whole", "SL-0002_L", "SL-0002_R", "SL-0003_whole", "scan 7", "SL-0001_trial", "SL-0004_ref")
TAKES = ("", "_t2", "_t3")
WORKS = {"SL-0001_whole": 1, "SL-0002_L": 2, "SL-0002_R": 2, "SL-0003_whole": 3}


class Died(BaseException):
    """The process is gone: nothing tidies up behind it."""


@contextmanager
def struck(step: int, code: int | None) -> Iterator[None]:
    """At the n-th step that changes something: an error of the system, or death; before it or right after."""
    count = 0

    def counted(act: Callable[..., Any], ledger: bool = False) -> Callable[..., Any]:
        def taken(*given: Any, **options: Any) -> Any:
            nonlocal count
            count += 1
            if count == step and step % 2:
                strike(code, ledger)
            result = act(*given, **options)
            if count == step and not step % 2 and not ledger:
                strike(code, ledger)
            return result

        return taken

    with (
        patch.object(os, "fsync", counted(os.fsync)),
        patch.object(os, "unlink", counted(os.unlink)),
        patch.object(moves, "rename_noreplace", counted(disk.rename_noreplace)),
        patch.object(steps, "rename_noreplace", counted(disk.rename_noreplace)),
        patch.object(moves, "write_all", counted(disk.write_all)),
        patch.object(Connection, "_run", counted(Connection._run, ledger=True)),
    ):
        yield


def strike(code: int | None, ledger: bool) -> None:
    if code is None or ledger:
        raise Died
    raise OSError(code, os.strerror(code))


class AnyEvening(RuleBasedStateMachine):
    """`inbox` is what the model believes to lie there; `entered` counts digests the daemon must account for."""

    def __init__(self) -> None:
        super().__init__()
        self._folder = Path(tempfile.mkdtemp(prefix="evening-", dir="/dev/shm" if Path("/dev/shm").is_dir() else None))
        self._studio = evening.studio_at(self._folder / "studio")
        self._aside: list[Path] = []
        self._entered: Counter[str] = Counter()
        self._grain = 0

    def teardown(self) -> None:
        shutil.rmtree(self._folder)

    def _waiting(self) -> list[Path]:
        return sorted(p for p in self._studio.inbox.iterdir() if p.is_file())

    @rule(
        part=st.sampled_from(PARTS),
        work=st.integers(1, 3),
        take=st.sampled_from(["", "_t2", "_t3"]),
        good=st.booleans(),
    )
    def arrives(self, part: str, work: int, take: str, good: bool) -> None:
        """A scan under this name, over whatever lies there; now and then of another work, or too coarse."""
        path = self._studio.inbox / f"{part}{take if part in WORKS else ''}.tif"
        if path.exists():
            self._leaves(path)
        self._grain += 1
        side = part[-1] if part[-2:] in {"_L", "_R"} else "whole"
        self._entered[evening.scan(path, WORKS.get(part, work), side, 400.0 if good else 100.0, self._grain)] += 1

    @rule()
    def arrives_again(self) -> None:
        """The same bytes as a scan that was filed, under another name."""
        filed = [r for r in self._homes() if r.place in {Place.ARCHIVE, Place.REWORK}]
        target = self._studio.inbox / "SL-0009_whole.tif"
        if filed and not target.exists():
            shutil.copy(filed[-1].home, target)
            self._entered[filed[-1].sha256] += 1

    @precondition(lambda self: self._waiting())
    @rule()
    def is_taken_away(self) -> None:
        path = self._waiting()[0]
        self._entered[evening.digest_of(path)] -= 1
        self._entered += Counter()
        aside = self._folder / f"aside{len(self._aside)}-{path.name}"
        path.rename(aside)
        self._aside.append(aside)

    @precondition(lambda self: self._aside)
    @rule()
    def is_put_back(self) -> None:
        aside = self._aside.pop()
        target = self._studio.inbox / aside.name.split("-", 1)[1]
        if target.exists():
            self._leaves(target)
        self._entered[evening.digest_of(aside)] += 1
        aside.rename(target)

    def _leaves(self, path: Path) -> None:
        self._entered[evening.digest_of(path)] -= 1
        self._entered += Counter()

    @rule()
    def the_daemon_runs(self) -> None:
        evening.run_until_idle(self._studio.root)

    @rule(step=st.integers(1, 120))
    def the_daemon_dies(self, step: int) -> None:
        try:
            with struck(step, None):
                evening.run_until_idle(self._studio.root)
        except Died:
            return

    @rule(step=st.integers(1, 60), code=st.sampled_from([errno.EIO, errno.ENOSPC, errno.EACCES]))
    def the_system_errs(self, step: int, code: int) -> None:
        with struck(step, code):
            try:
                evening.run_until_idle(self._studio.root)
            except Died:
                return

    @invariant()
    def nothing_is_lost(self) -> None:
        there = evening.everywhere(self._studio)
        for sha256, count in self._entered.items():
            assert there[sha256] >= min(count, 1), f"{sha256[:8]} is nowhere"

    def _homes(self) -> tuple[Any, ...]:
        return evening.homes(self._studio) if self._studio.ledger_path.exists() else ()

    def check_end(self) -> None:
        """Two more starts: everything is where the model says, and the second changes nothing."""
        evening.run_until_idle(self._studio.root)
        evening.check_census(self._studio, +self._entered)
        before = evening.state_of(self._studio)
        evening.run_until_idle(self._studio.root)
        assert evening.state_of(self._studio) == before
        ledger = Ledger.read(self._studio.ledger_path)
        jobs = ledger.jobs()
        ledger.close()
        for row in self._homes():
            assert row.place is not Place.INBOX, f"{row.file} still waits"
        for job in jobs:
            if job.outcome is Outcome.ARCHIVE:
                assert (self._studio.archive / job.job).is_dir()


class AnyEveningToItsEnd(AnyEvening):
    """The same, with the end looked at when the evening is over."""

    def teardown(self) -> None:
        try:
            self.check_end()
        finally:
            super().teardown()


TestAnyEvening = AnyEveningToItsEnd.TestCase
TestAnyEvening.settings = settings(
    max_examples=8, stateful_step_count=7, deadline=None, suppress_health_check=list(HealthCheck), print_blob=True
)


@pytest.mark.sweep
def test_many_long_evenings() -> None:
    """The same for longer, found anew each time."""
    many = settings(TestAnyEvening.settings, max_examples=150, stateful_step_count=14)
    run_state_machine_as_test(AnyEveningToItsEnd, settings=many)


def test_the_model_can_fail(tmp_path: Path) -> None:
    """A scan that is thrown away is noticed."""
    studio = evening.studio_at(tmp_path / "studio")
    entered = Counter([evening.scan(studio.inbox / "SL-0003_whole.tif", 3)])
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
    home = next(r.home for r in evening.homes(studio))
    Path(home).unlink()
    assert hashlib.sha256().hexdigest() not in evening.everywhere(studio)
    try:
        evening.check_census(studio, entered)
    except (AssertionError, FileNotFoundError):
        return
    raise AssertionError("a missing scan was not noticed")
