"""The rehearsal itself: make the invented scans, bring them in slowly while the real daemon runs, read what it says in
the morning and hold it against what was injected."""

from __future__ import annotations

import hashlib
import threading
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Protocol

from . import outcome
from .artworks import Artwork, make
from .bed import Samples, reference, scan
from .outcome import Row, Said, Verdict
from .profile import scanner_profile
from .scenario import BED_A, Evening, Expected, Shot, Work, saltmarsh_lane
from .studio import found
from .writer import Delivery, deliver_all, kept_bytes

Document = dict[str, Any]
Progress = Callable[[str, float], None]  # what is going on, and the share of the whole that is done
Staged = dict[Shot, Path]
MAKING_SHARE = 0.35  # of the whole time, for the progress bar
MAX_RUNS_PER_ACT = 3
MAKERS = 2  # works made at a time


class TiffWriter(Protocol):
    """Writes (rows, columns, 3) uint16 samples as a TIFF with resolution and profile."""

    def __call__(self, path: Path, pixels: Samples, *, ppi: float, icc: bytes) -> None: ...


@dataclass(frozen=True)
class Daemon:
    """The product as the rehearsal uses it: `run` watches the studio until idle, the others give the documents of
    `job --json` and `morning --json`."""

    run: Callable[[], None]
    read_job: Callable[[str], Document]
    read_morning: Callable[[], Document]


@dataclass(frozen=True)
class RehearsalResult:
    """What came of it: the rows of the table, notes said beside the faults, counts and times."""

    rows: tuple[Row, ...]
    notes: tuple[tuple[str, Said], ...]
    scans: int
    making_s: float
    judging_s: float

    def count(self, verdict: Verdict) -> int:
        return sum(row.verdict is verdict for row in self.rows)

    @property
    def is_good(self) -> bool:
        """Nothing was missed and nothing claimed falsely."""
        return not any(row.verdict.is_failure for row in self.rows)


def rehearse(
    studio: Path,
    daemon: Daemon,
    write_tiff: TiffWriter,
    progress: Progress,
    today: date,
    evening: Evening | None = None,
    sleep: Callable[[float], object] = time.sleep,
) -> RehearsalResult:
    """Play the evening in an empty folder `studio`; FileExistsError where a rule book already is. `progress` is called
    from several threads, one at a time while scans are made and from the writer's while they arrive."""
    evening = evening or saltmarsh_lane()
    found(studio, evening, today)
    with TemporaryDirectory(prefix=".scanner-", dir=studio.resolve().parent) as scratch:
        started = time.monotonic()
        staged = stage(evening, Path(scratch), write_tiff, lambda text, share: progress(text, MAKING_SHARE * share))
        made = time.monotonic()
        delivered = {_digest(path, shot): shot.file_name for shot, path in staged.items()}
        documents = [_played(studio, act, daemon, staged, evening.jobs, progress, sleep) for act in _acts(evening)]
    rows = _rows(evening, documents, daemon.read_morning(), delivered, _homes(studio))
    notes = tuple(note for act in documents for expected, job in act for note in outcome.notes(expected.job, job))
    progress("the table", 1.0)
    return RehearsalResult(rows, notes, len(evening.shots), made - started, time.monotonic() - made)


def stage(evening: Evening, scratch: Path, write_tiff: TiffWriter, progress: Progress) -> Staged:
    """Make every scan of the evening as a file in `scratch`; the same evening gives the same pixels."""
    icc, done = scanner_profile(), 0
    lock = threading.Lock()
    staged: Staged = {}

    def shoot(work: Work | None) -> None:
        nonlocal done
        artwork = _made(work) if work else None
        for count, shot in enumerate(evening.shots):
            if shot.work != work:
                continue
            path = scratch / f"{count:02d}.tif"
            ppi = float(shot.mishap.ppi or shot.flatbed.ppi)
            write_tiff(path, _pixels(shot, artwork, seed=count), ppi=ppi, icc=icc)
            with lock:
                staged[shot], done = path, done + 1
                progress(f"{shot.file_name} laid on the bed", done / len(evening.shots))

    with ThreadPoolExecutor(MAKERS) as makers:
        for result in [makers.submit(shoot, work) for work in (None, *evening.works)]:
            result.result()
    return {shot: staged[shot] for shot in evening.shots}


def _made(work: Work) -> Artwork:
    return make(work.medium, work.height_mm, work.width_mm, BED_A.px_mm, work.seed)


def _pixels(shot: Shot, artwork: Artwork | None, seed: int) -> Samples:
    if artwork is None:
        return reference(shot.flatbed, seed, shot.mishap.streak)
    return scan(artwork, shot.flatbed, shot.placement, seed, shot.mishap)


def _acts(evening: Evening) -> list[int]:
    return sorted({shot.act for shot in evening.shots})


def _played(
    studio: Path,
    act: int,
    daemon: Daemon,
    staged: Staged,
    jobs: tuple[Expected, ...],
    progress: Progress,
    sleep: Callable[[float], object],
) -> list[tuple[Expected, Document]]:
    """Bring in the scans of one act while the daemon runs, then ask for the jobs that have to be judged by now."""
    deliveries = [Delivery(path, _target(studio, s), s.arrival) for s, path in staged.items() if s.act == act]
    before = sum(s.act < act for s in staged)

    def told(delivery: Delivery) -> None:
        share = (before + deliveries.index(delivery)) / len(staged)
        progress(f"{delivery.target.name} arrives", MAKING_SHARE + (0.98 - MAKING_SHARE) * share)

    ended = threading.Event()

    def pause(seconds: float) -> None:
        if ended.is_set():
            raise InterruptedError("the rehearsal ended while scans were still arriving")
        sleep(seconds)

    with ThreadPoolExecutor(1) as scanner:
        writing = scanner.submit(deliver_all, deliveries, told, pause)
        try:
            _run_until_taken(daemon, deliveries, writing)
            writing.result()
        finally:
            ended.set()
    return [(expected, daemon.read_job(expected.job)) for expected in jobs if expected.act == act]


def _run_until_taken(daemon: Daemon, deliveries: list[Delivery], writing: Future[None]) -> None:
    """Run the daemon again while scans still arrive or lie in the inbox: it may have found the studio idle early."""
    for _ in range(MAX_RUNS_PER_ACT):
        daemon.run()
        if writing.done() and not any(delivery.target.exists() for delivery in deliveries):
            return


def _target(studio: Path, shot: Shot) -> Path:
    """The default bed's scans lie in the inbox itself, another bed's in its own folder."""
    folder = studio / "inbox"
    return (folder if shot.flatbed is BED_A else folder / shot.flatbed.bed.name) / shot.file_name


def _rows(
    evening: Evening,
    documents: list[list[tuple[Expected, Document]]],
    morning: Document,
    delivered: dict[str, str],
    homes: Counter[str],
) -> tuple[Row, ...]:
    """The whole table; a job's pile in the morning is the one of its last act."""
    pairs = [pair for act in documents for pair in act]
    rows = [outcome.judge_job(expected, job) for expected, job in pairs]
    rows += [outcome.judge_unplaced(expected, morning) for expected in evening.unplaced]
    rows += outcome.judge_unplaced_others(evening.unplaced, morning)
    if evening.streak:
        rows.append(outcome.judge_streak(evening.streak, morning))
    rows += outcome.judge_other_marks(evening.streak, morning)
    rows.append(outcome.judge_not_seen(evening.not_seen, morning))
    rows.append(outcome.judge_morning({expected.job: str(job.get("pile")) for expected, job in pairs}, morning))
    sizes_mm = {work.job: (work.width_mm, work.height_mm) for work in evening.works if work.listed}
    rows.append(outcome.judge_masters(sizes_mm, {e.job: job for e, job in pairs}, BED_A.px_mm))
    rows.append(outcome.judge_homes(delivered, homes))
    return tuple(rows)


def _digest(staged: Path, shot: Shot) -> str:
    """SHA-256 of what reaches the inbox of a staged scan."""
    content = staged.read_bytes()
    return hashlib.sha256(content[: kept_bytes(len(content), shot.arrival)]).hexdigest()


def _homes(studio: Path) -> Counter[str]:
    """Digests of all TIFF files in archive and rework, with their number."""
    homes: Counter[str] = Counter()
    for folder in ("archive", "rework"):
        for path in sorted((studio / folder).rglob("*.tif")):
            with path.open("rb") as source:
                homes[hashlib.file_digest(source, "sha256").hexdigest()] += 1
    return homes
