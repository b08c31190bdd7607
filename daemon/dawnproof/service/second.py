"""`[archive] second`: every bag a second time, on another disk, read back and compared. Until then a job may not go
back."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from dataclasses import replace
from pathlib import Path

from ..errors import LedgerError, MoveError
from ..ledger.ledger import Ledger
from ..pipeline.roots import Roots
from ..pipeline.steps import STAGING, settle
from ..storage.bag import TAG_MANIFEST, read_manifest, verify
from ..storage.disk import digest, failed, fsync_dir
from ..storage.moves import copy, make_folder
from ..storage.studio import Studio
from ..upkeep import bags_of_job
from .voice import Voice, now_utc

MANIFESTS = ("manifest-sha256.txt", TAG_MANIFEST)
LOOK_S = 5.0


class SecondCopies:
    """Makes the second copies one after the other, beside filing. `proceed` raises when the daemon is to stop."""

    def __init__(
        self,
        studio: Studio,
        ledger: Ledger,
        roots: Roots,
        voice: Voice,
        executor: Executor,
        retry_s: float,
        proceed: Callable[[], None],
    ) -> None:
        self._studio, self._ledger, self._roots, self._voice = studio, ledger, roots, voice
        self._executor, self._retry_s, self._proceed = executor, retry_s, proceed
        self._copying: Future[str] | None = None
        self._look_at_s = -1e9

    def busy(self) -> bool:
        """Whether a copy is being made."""
        return self._copying is not None

    def left(self) -> bool:
        """Whether an archived job still lacks its second copy."""
        return self._studio.second is not None and bool(self._missing())

    def look(self, now: float) -> None:
        """Take up what is finished, begin the next."""
        if self._studio.second is None:
            return
        if self._copying is not None:
            if self._copying.done():
                self._copied(self._copying, now)
            return
        if now < self._look_at_s:
            return
        self._look_at_s = now + min(LOOK_S, self._retry_s)
        missing = self._missing()
        if missing:
            self._copying = self._executor.submit(self._copy_job, missing[0], self._studio.second)

    def _missing(self) -> tuple[str, ...]:
        return self._ledger.jobs_without_second()

    def _copied(self, future: Future[str], now: float) -> None:
        self._copying = None
        try:
            job = future.result()
        except LedgerError:
            raise
        except (MoveError, OSError) as error:
            self._voice.alarm("second copy", f"no second copy: {error}; it is tried again")
            self._look_at_s = now + self._retry_s
            return
        self._voice.calm("second copy")
        self._voice.say(
            "second copy", job, f"{job} stands a second time in {self._studio.second}, read back and compared"
        )
        self._look_at_s = now

    def _copy_job(self, job: str, second: Path) -> str:
        self._roots.check(second)
        for bag in bags_of_job(self._studio, job):
            self._copy_bag(bag, second / bag.name, job)
        row = self._ledger.job(job)
        if row is not None:
            self._ledger.put_job(replace(row, second_missing=False), now_utc().isoformat())
        return job

    def _copy_bag(self, bag: Path, target: Path, job: str) -> None:
        staged = target.parent / f"{STAGING}{target.name}"
        if not target.is_dir():
            for path, sha256 in sorted(_files_of(bag).items()):
                self._proceed()
                self._roots.check(target.parent)
                make_folder((staged / path).parent)
                copy(bag / path, staged / path, sha256, self._proceed)
            self._make_durable(staged)
            settle(staged, target)
        if not verify(target, lambda octets: self._proceed()).ok:
            raise MoveError(f"{target} is not the same as {bag}; look at both with `sha256sum -c`, then move it away")

    def _make_durable(self, staged: Path) -> None:
        try:
            for folder in (staged, *(p for p in staged.rglob("*") if p.is_dir())):
                fsync_dir(folder)
        except OSError as error:
            raise failed("securing", staged, error) from error


def _files_of(bag: Path) -> dict[str, str]:
    """Digest by path of all that makes up a bag; what is not as its manifest says stops the copy when it is read."""
    try:
        listed = {**read_manifest(bag / MANIFESTS[0]), **read_manifest(bag / MANIFESTS[1])}
    except OSError as error:
        raise failed("reading the bag", bag, error) from error
    return listed | {TAG_MANIFEST: digest(bag / TAG_MANIFEST).sha256}
