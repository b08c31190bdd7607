"""What a GB of scans and a job cost on this machine, for the bench of how a house grows (`growth.py`): seconds of
computing for a GB decoded with all checks, cropped and written, joined, digested, and how many GB each of them reads
and writes (which goes over the store); milliseconds of computing, rows and bytes of the ledger for a job; the speed of
a disk or a store."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bench import ledger as ledger_bench
from bench.cluster import Bench, halves
from bench.examine import make
from faults import evening

from dawnproof.workers.asks import Ask
from dawnproof.workers.measuring import measure_scan


@dataclass(frozen=True)
class Constants:
    """Measured: seconds of computing for a GB of scans, GB read and written for it, and what a job costs daemon and
    ledger."""

    measure_s: float
    measure_gb: float
    write_s: float
    write_gb: float
    join_s: float
    join_gb: float
    digest_s: float
    job_ms: float
    rows_a_job: float
    ledger_kb_a_job: float


def computed(act: Callable[[], Any]) -> tuple[float, float, Any]:
    """Seconds of computing in this process, all threads together, the best of three; GB it read and wrote."""
    best, moved, found = float("inf"), 0.0, None
    for _ in range(3):
        begun, before = time.process_time(), moved_gb()
        found = act()
        best, moved = min(best, time.process_time() - begun), moved_gb() - before
    return best, moved, found


def moved_gb() -> float:
    """What this process has read and written so far, whether from a disk or from memory."""
    counts = dict(line.split(": ") for line in Path("/proc/self/io").read_text("ascii").splitlines())
    return (int(counts["rchar"]) + int(counts["wchar"])) / 1e9


def speed_of(folder: Path) -> float:
    """MB/s of a disk or a store: half a GB written through to it and read again, the slower of the two."""
    path, block, count = folder / f"growth-{os.getpid()}.bin", os.urandom(8 << 20), 64
    try:
        begun = time.perf_counter()
        with path.open("wb") as file:
            for _ in range(count):
                file.write(block)
            os.fsync(file.fileno())
        written_s, begun = time.perf_counter() - begun, time.perf_counter()
        with path.open("rb", buffering=0) as file:
            os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)  # or memory would be measured
            while file.read(8 << 20):
                pass
        read_s = time.perf_counter() - begun
    finally:
        path.unlink(missing_ok=True)
    return count * len(block) / 1e6 / max(written_s, read_s)


class InThisProcess:
    """An engine whose computing can be counted: it does everything at once, here."""

    def submit(self, what: str, subject: str, function: Callable[..., Any], *given: Any, long: bool = False) -> Any:
        return evening.Inline().submit(function, *given)

    def watch(self) -> None:
        """Nobody to watch."""


def measured_constants(folder: Path, gigabytes: float, jobs: int) -> Constants:
    scan = folder / "scan.tif"
    bed = make(scan, gigabytes)
    parts, bench, here = halves(scan), Bench(folder, bed), InThisProcess()
    measure_s, measure_gb, one = computed(lambda: measure_scan(Ask(str(scan), bed)))
    write_s, write_gb, _ = computed(lambda: bench.make(here, (scan,), [one]))
    both = bench.measure(here, *parts)
    join_s, join_gb, _ = computed(lambda: bench.make(here, parts, both))
    digest_s, _, _ = computed(lambda: hashlib.sha256(scan.read_bytes()).hexdigest())
    of_parts = sum(p.stat().st_size for p in parts) / 1e9
    job_ms, rows, kilobytes = ledger_of(folder, jobs)
    return Constants(
        measure_s / gigabytes, measure_gb / gigabytes, write_s / gigabytes, write_gb / gigabytes, join_s / of_parts,
        join_gb / of_parts, digest_s / gigabytes, job_ms, rows, kilobytes,
    )  # fmt: skip


def ledger_of(folder: Path, jobs: int) -> tuple[float, float, float]:
    """Milliseconds, rows and kB of a small job, by the ledger's bench."""
    studio = evening.studio_at(folder / "prints")
    pool, pattern = ledger_bench.prepared(studio)
    ledger_bench.send(studio, pattern, range(jobs))
    begun = time.process_time()
    evening.run_until_idle(studio.root, pool)
    used = time.process_time() - begun
    rows, megabytes = ledger_bench.rows_of(studio)
    return 1000 * used / jobs, rows / jobs, 1000 * megabytes / jobs
