"""A small evening for breaking things: a studio in a folder, tiny real scans, the daemon without child processes, and
the census that must hold whatever happened."""

from __future__ import annotations

import hashlib
import os
import pickle
import sqlite3
import threading
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import bagit
import numpy as np
import tifffile

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import EventRow, Place, Progress, ScanRow
from dawnproof.service import Service, Tick
from dawnproof.service.hands import Hand, Worker
from dawnproof.storage.studio import Studio, make_folders, new_studio, open_studio
from dawnproof.workers.job_asks import JobAsk
from dawnproof.workers.pool import Pool

BOOK = """
based_on = "fine-art"
[intake]
settle_s = 0.2
scan_s = 1.0
[archive]
reserve_gb = 0.0
[output]
assume_profile = "eciRGB v2"
[limits.join]
overlap = { note = 5.0, fault = 1.0, below = true }
[beds.bed-a]
width_mm = 600.0
length_mm = 450.0
[beds.bed-b]
width_mm = 600.0
length_mm = 450.0
"""


class Inline(Worker):
    """Runs at once, in the caller's thread: every system call of the evening is then one thread's."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **options: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **options))
        except Exception as error:
            future.set_exception(error)
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Nothing is left running."""


class Memory:
    """What measuring and making gave for the very same input, kept in a folder: the same scans are broken a hundred
    times, and nothing of what is broken depends on computing their readings anew."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        folder.mkdir(exist_ok=True)

    def recall(self, function: Callable[..., Any], ask: Any) -> Any:
        """The result, with the files that came with it written where this attempt wants them."""
        made = isinstance(ask, JobAsk)
        kept = self._folder / hashlib.sha256(pickle.dumps((function.__name__, _same(ask)))).hexdigest()
        if not kept.exists():
            result = function(ask)
            files = (
                {(w, p): data for w in ("staging", "proofs") for p, data in _files_in(Path(getattr(ask, w)))}
                if made
                else {}
            )
            hidden = kept.with_suffix(f".{os.getpid()}")
            hidden.write_bytes(pickle.dumps((result, files)))
            hidden.rename(kept)
            return result
        result, files = pickle.loads(kept.read_bytes())
        for (where, path), data in files.items():
            (Path(getattr(ask, where)) / path).write_bytes(data)
        return result


def _same(ask: Any) -> Any:
    """The question without what changes from one attempt to the next."""
    if isinstance(ask, JobAsk):
        parts = tuple(replace(p, path="", admitted_s=0.0, scan=0, measured=replace(p.measured, seconds=()))
                      for p in ask.parts)  # fmt: skip
        return replace(ask, parts=parts, staging="", proofs="", book=replace(ask.book, origins={}, _layers=()))
    return replace(ask, path=digest_of(Path(ask.path)))


def _files_in(folder: Path) -> list[tuple[str, bytes]]:
    return [(str(p.relative_to(folder)), p.read_bytes()) for p in folder.rglob("*") if p.is_file()]


class InlinePool:
    """The pool's interface without children; `refuse` may raise before a task is run."""

    memory: Memory | None = None

    def __init__(self, refuse: Callable[[str, str], None] = lambda what, subject: None) -> None:
        self._inline, self._refuse = Inline(), refuse
        self.measured: Counter[str] = Counter()

    def submit(
        self, what: str, subject: str, function: Callable[..., Any], *given: Any, long: bool = False
    ) -> Future[Any]:
        def task() -> Any:
            self._refuse(what, subject)
            return self.memory.recall(function, *given) if self.memory else function(*given)

        self.measured[subject] += what == "measuring"
        return self._inline.submit(task)

    def places(self) -> int:
        return 1

    def waiting(self) -> int:
        return 0

    def progress(self) -> tuple[Progress, ...]:
        return ()

    def helper_of(self, future: Future[Any]) -> str:
        return ""

    def watch(self) -> None:
        """Nobody to watch."""

    def close(self, wait: bool = True) -> None:
        """Nothing to close."""


def picture(seed: int, columns: int = 300, rows: int = 200, grain: int = 0) -> np.ndarray[Any, np.dtype[np.uint16]]:
    """A work on paper, whole inside a white lid: smooth shapes and grain, 16 bit RGB."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:rows, 0:columns]
    work = np.full((rows, columns, 3), 0.93)
    inside = (slice(20, rows - 20), slice(20, columns - 20))
    shapes = sum(np.sin(x / rng.uniform(4, 30) + y / rng.uniform(4, 30) + rng.uniform(0, 6)) for _ in range(6)) / 6
    tone = 0.45 + 0.22 * shapes[..., None] * rng.uniform(0.6, 1.0, 3)
    work[inside] = tone[inside]
    work += rng.normal(0, 0.004, work.shape)
    if grain:
        work += np.random.default_rng((seed, grain)).normal(0, 0.0003, work.shape)
    return np.asarray(np.clip(work, 0, 1) * 60000, dtype=np.uint16)


def scan(path: Path, seed: int, part: str = "whole", ppi: float = 400.0, grain: int = 0) -> str:
    """Write a tiny scan as a finished file, and give its digest. Parts L and R of one seed overlap by a third; another
    grain is another scan of the same work."""
    pixels = picture(seed, 480 if part in {"L", "R"} else 300, grain=grain)
    pixels = pixels[:, :320] if part == "L" else pixels[:, 160:] if part == "R" else pixels
    path.parent.mkdir(parents=True, exist_ok=True)
    hidden = path.with_name(f".{path.name}.part")
    tifffile.imwrite(hidden, np.ascontiguousarray(pixels), photometric="rgb", resolution=(ppi, ppi),
                     resolutionunit="INCH", rowsperstrip=64, metadata=None)  # fmt: skip
    hidden.rename(path)
    return hashlib.sha256(path.read_bytes()).hexdigest()


def studio_at(root: Path, extra: str = "") -> Studio:
    """A new studio that settles fast."""
    new_studio(root, "fine-art")
    (root / "dawnproof.toml").write_text(BOOK + extra, "utf-8")
    studio = open_studio(root)
    make_folders(studio)
    return studio


@dataclass
class Heard:
    """What the daemon said."""

    events: list[EventRow]
    ticks: list[Tick]

    def said(self, words: str) -> bool:
        return any(words in e.text for e in self.events)


class QuickClock(threading.Event):
    """Waiting costs nothing: the daemon's own clock is put forward instead. For evenings without other threads."""

    def __init__(self) -> None:
        super().__init__()
        self.now_s = 1000.0

    def now(self) -> float:
        return self.now_s

    def wait(self, timeout: float | None = None) -> bool:
        self.now_s += timeout or 0.0
        return self.is_set()


def service_of(studio: Studio, ledger: Ledger, heard: Heard, pool: Any = None, **options: Any) -> Service:
    """The real daemon, without children or threads of its own."""
    given: dict[str, Any] = {"until_idle": True, "retry_s": 0.3, "threads": lambda name: Inline()} | options
    children: Any = pool or InlinePool()
    return Service(studio, ledger, children, heard.events.append, heard.ticks.append, **given)


def run_until_idle(root: Path, pool: Any = None, **options: Any) -> Heard:
    """One whole run of the daemon, without waiting: only its clock waits."""
    studio = open_studio(root)
    heard = Heard([], [])
    if not isinstance(pool, Pool):
        quick = QuickClock()
        options = {"clock": quick.now, "stop": quick} | options
    ledger = Ledger.open(studio.ledger_path)
    try:
        service_of(studio, ledger, heard, pool, **options).run()
    finally:
        ledger.close()
    return heard


class Living:
    """A daemon that keeps watching while a test breaks things around it."""

    def __init__(self, root: Path, pool: Any = None, **options: Any) -> None:
        self.studio = open_studio(root)
        self.heard = Heard([], [])
        self._ledger = Ledger.open(self.studio.ledger_path)
        given: dict[str, Any] = {"until_idle": False, "threads": Hand} | options
        self.service = service_of(self.studio, self._ledger, self.heard, pool, **given)
        self._thread = threading.Thread(target=self._run, daemon=True)
        self.error: BaseException | None = None

    def _run(self) -> None:
        try:
            self.service.run()
        except BaseException as error:
            self.error = error

    def __enter__(self) -> Living:
        self._thread.start()
        self.until(lambda: bool(self.heard.ticks), "the first turn")
        return self

    def __exit__(self, *error: object) -> None:
        self.service.stop.set()
        self._thread.join(timeout=30)
        self._ledger.close()
        assert not self._thread.is_alive(), "the daemon ends when it is told to"

    @property
    def alarms(self) -> str:
        return "\n".join(self.heard.ticks[-1].alarms) if self.heard.ticks else ""

    def until(self, true: Callable[[], bool], what: str, within_s: float = 20.0) -> float:
        """Wait for something to become true; gives the seconds it took."""
        begun = time.monotonic()
        while not true():
            assert self.error is None, f"the daemon died: {self.error!r}"
            took = time.monotonic() - begun
            assert took < within_s, f"{what} did not happen within {within_s} s; alarms: {self.alarms or 'none'}"
            time.sleep(0.02)
        return time.monotonic() - begun

    def until_said(self, words: str, within_s: float = 20.0) -> float:
        return self.until(lambda: self.heard.said(words), f"saying {words!r}", within_s)

    def until_filed(self, job: str, within_s: float = 40.0) -> float:
        """Until a job is archived, with everything that belongs to it in its place."""
        return self.until_said(f"{job} archived", within_s)

    def until_calm(self, within_s: float = 20.0) -> float:
        return self.until(lambda: not self.heard.ticks[-1].alarms, "calm", within_s)

    def rest(self, seconds: float) -> None:
        """Let some turns go by."""
        count = len(self.heard.ticks)
        self.until(lambda: len(self.heard.ticks) >= count + max(2, seconds / 0.2), "some turns")


# the census


def files_below(*folders: Path) -> list[Path]:
    """Every TIFF and every half-made thing below these folders."""
    return [p for folder in folders if folder.is_dir() for p in folder.rglob("*") if p.is_file() or p.is_symlink()]


def digest_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def everywhere(studio: Studio) -> Counter[str]:
    """Digests of all files in inbox, archive and rework, stagings and half copies included."""
    return Counter(digest_of(p) for p in files_below(studio.inbox, studio.archive, studio.rework))


def homes(studio: Studio) -> tuple[ScanRow, ...]:
    ledger = Ledger.read(studio.ledger_path)
    try:
        return tuple(r for r in ledger.all_scans() if r.place is not Place.GONE)
    finally:
        ledger.close()


def copies(studio: Studio) -> Counter[str]:
    """Digests of copies in later bags, as the ledger lists them."""
    with sqlite3.connect(studio.ledger_path) as db:
        return Counter(r[0] for r in db.execute("SELECT sha256 FROM copies"))


def check_census(studio: Studio, entered: Counter[str]) -> None:
    """Every scan that entered has exactly one home row whose file has its digest; the files in inbox, archive and
    rework cover all that entered exactly once; bags are valid; nothing half-made is left."""
    rows = homes(studio)
    assert Counter(r.sha256 for r in rows) == entered, "each scan has one home row"
    for row in rows:
        assert digest_of(Path(row.home)) == row.sha256, f"{row.home} holds the bytes it entered with"
    assert len({r.home for r in rows}) == len(rows), "no two scans share a home"
    there = everywhere(studio)
    extra = copies(studio)
    for sha256, count in entered.items():
        assert there[sha256] == count + extra[sha256], f"{sha256[:8]} stands {there[sha256]} times, not {count}"
    left = [p for f in (studio.archive, studio.rework, studio.proof) if f.is_dir() for p in f.rglob("*")
            if any(part.startswith(".") for part in p.relative_to(f).parts)]  # fmt: skip
    assert not left, f"half-made things are left: {left}"
    ledger = Ledger.read(studio.ledger_path)
    try:
        assert ledger.open_filings() == ()
    finally:
        ledger.close()
    for bag in sorted(p for p in studio.archive.iterdir() if p.is_dir() and p.name != "_reference"):
        bagit.Bag(str(bag)).validate()


def state_of(studio: Studio) -> dict[str, Any]:
    """All that must not change by another restart: files with their digests, homes, jobs."""
    folders = (studio.inbox, studio.archive, studio.rework, studio.proof)
    ledger = Ledger.read(studio.ledger_path)
    try:
        jobs = {j.job: (j.state, j.outcome, j.version) for j in ledger.jobs()}
    finally:
        ledger.close()
    return {
        "files": {str(p): digest_of(p) for p in files_below(*folders)},
        "homes": {r.id: (r.home, r.place, r.sha256) for r in homes(studio)},
        "jobs": jobs,
    }
