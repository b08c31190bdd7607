"""Many small jobs through the real daemon and its ledger, children left out: is the time of a job flat?

    python tests/bench/ledger.py FOLDER [--jobs 10000] [--step 1000]

FOLDER should lie in memory (/dev/shm): what a disk does to fsync is not the ledger's doing. Each job is one tiny scan
with bytes of its own; measuring takes its digest and says the same of every scan, making writes a master of 2 kB. Gate,
admission, judging, bag, moves and every row of the ledger are the daemon's own. Printed for each step: milliseconds a
job, of the loop and of each thread's work together, rows, and bytes of the ledger; at the end the last step against the
first and the straight line through all of them.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import sqlite3
import sys
import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import tifffile

sys.path[:0] = [str(Path(__file__).parents[2] / "daemon"), str(Path(__file__).parents[1])]

from faults import evening  # noqa: E402 - run from anywhere

from dawnproof.model import Measured, Outcome  # noqa: E402
from dawnproof.storage.studio import Studio  # noqa: E402
from dawnproof.workers.asks import Ask  # noqa: E402
from dawnproof.workers.job_asks import JobAsk, Made, Master  # noqa: E402
from dawnproof.workers.measuring import measure_scan  # noqa: E402

PIXELS = 24  # bytes at the end of the pattern's pixels that make each scan another one


class NoChildren(evening.InlinePool):
    """Measuring and making at no cost: what is left is the daemon's."""

    def __init__(self, like: Measured) -> None:
        super().__init__()
        self._like = like

    def submit(
        self, what: str, subject: str, function: Callable[..., Any], *given: Any, long: bool = False
    ) -> Future[Any]:
        (ask,) = given
        return self._inline.submit(self._measure if isinstance(ask, Ask) else self._make, ask)

    def _measure(self, ask: Ask) -> Measured:
        data = Path(ask.path).read_bytes()
        return replace(self._like, sha256=hashlib.sha256(data).hexdigest(), size_bytes=len(data))

    def _make(self, ask: JobAsk) -> Made:
        path, data = f"data/{ask.job}.tif", os.urandom(2048)
        (Path(ask.staging) / path).write_bytes(data)
        return Made(Outcome.ARCHIVE, (), masters=(Master(path, hashlib.sha256(data).hexdigest(), len(data)),))


def send(studio: Studio, pattern: bytes, numbers: range) -> None:
    """Scans of that many jobs, each with pixels of its own in the middle, far from header and directory."""
    at = len(pattern) // 2
    for number in numbers:
        own = hashlib.sha256(str(number).encode()).digest()[:PIXELS]
        data = pattern[:at] + own + pattern[at + PIXELS :]
        hidden = studio.inbox / ".part"
        hidden.write_bytes(data)
        hidden.rename(studio.inbox / f"SL-{number:05d}_whole.tif")


def rows_of(studio: Studio) -> tuple[int, float]:
    """Rows of all tables, and the ledger's megabytes."""
    with sqlite3.connect(studio.ledger_path) as db:
        tables = [r[0] for r in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        rows = sum(int(db.execute(f"SELECT count(*) FROM {t}").fetchone()[0]) for t in tables)
    return rows, sum(p.stat().st_size for p in studio.private.glob("ledger.sqlite3*")) / 1e6


def prepared(studio: Studio) -> tuple[NoChildren, bytes]:
    """What stands for the children, and the pattern of all scans."""
    sample = studio.inbox / "sample.tif"
    evening.scan(sample, 1)
    like = measure_scan(Ask(str(sample), studio.book.beds[0]))
    tifffile.imwrite(sample, evening.picture(1, 60, 60), photometric="rgb", resolution=(400, 400), metadata=None)
    pattern = sample.read_bytes()
    sample.unlink()
    return NoChildren(like), pattern


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--jobs", type=int, default=10_000)
    parser.add_argument("--step", type=int, default=1_000)
    args = parser.parse_args()
    root = args.folder / f"ledger-bench-{os.getpid()}"
    studio = evening.studio_at(root)
    pool, pattern = prepared(studio)
    each: list[float] = []
    try:
        for first in range(0, args.jobs, args.step):
            send(studio, pattern, range(first, first + args.step))
            begun, cpu = time.perf_counter(), time.process_time()
            evening.run_until_idle(root, pool)
            wall, used = time.perf_counter() - begun, time.process_time() - cpu
            filed = sum(1 for p in studio.archive.iterdir() if p.name.startswith("SL-"))
            assert filed == first + args.step, f"{filed} bags after {first + args.step} jobs"
            rows, megabytes = rows_of(studio)
            each.append(1000 * used / args.step)
            print(f"jobs {first:6}-{first + args.step:<6} {1000 * wall / args.step:6.1f} ms a job, {each[-1]:6.1f} ms "
                  f"computed; {rows} rows, {megabytes:.1f} MB", flush=True)  # fmt: skip
        if len(each) > 1:
            slope = np.polyfit((np.arange(len(each)) + 0.5) * args.step, each, 1)[0] * 1000
            print(f"computed for a job: first {each[0]:.1f} ms, last {each[-1]:.1f} ms = {each[-1] / each[0]:.2f}; "
                  f"{slope:+.2f} ms with every 1000 jobs more")  # fmt: skip
    finally:
        shutil.rmtree(root, ignore_errors=True)


if __name__ == "__main__":
    main()
