"""One machine against a cluster on the same cores: python tests/bench/cluster.py FOLDER [--mb 500] [--rounds 3]

A scheduler and one worker run in processes of their own on this machine, with as many places as the studio's own pool
has children. Each round takes turns between the two: one scan measured, then cropped and written as a master; two
scans at once; the halves of the scan joined. Printed: seconds (the median of the rounds), the cluster's overhead as a
share of the local time, the throughput of two at once against one, and the largest resident memory of a joining child
against what `needs_mb` asks for. Ratios are of one run; on a busy machine the seconds mean nothing.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import sys
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

# in place of this file's own folder, in which `cluster` would be this file
sys.path[:1] = [str(Path(__file__).parents[2] / "daemon"), str(Path(__file__).parents[1])]

from bench.examine import PPI, make  # noqa: E402 - run from anywhere
from cluster.hosts import House  # noqa: E402

from dawnproof.cluster.engine import ClusterPool  # noqa: E402
from dawnproof.model import Bed, Measured, Outcome  # noqa: E402
from dawnproof.rulebook import load_book  # noqa: E402
from dawnproof.service.engine import limited_run  # noqa: E402
from dawnproof.storage.tiff import open_scan  # noqa: E402
from dawnproof.storage.tiff_write import MasterTags, write_master  # noqa: E402
from dawnproof.workers.asks import Ask  # noqa: E402
from dawnproof.workers.job_asks import JobAsk, Made, PartAsk  # noqa: E402
from dawnproof.workers.making import make_job  # noqa: E402
from dawnproof.workers.measuring import measure_scan  # noqa: E402
from dawnproof.workers.pool import Pool  # noqa: E402

BOOK = load_book("fine-art")
Row = dict[str, list[float]]


def halves(path: Path) -> tuple[Path, Path]:
    """The scan cut in two that overlap by a tenth of its width."""
    made = []
    with open_scan(path) as scan:
        width, height = scan.facts.width_px, scan.facts.height_px
        for label, left, right in (("L", 0, int(0.55 * width)), ("R", int(0.45 * width), width)):
            made.append(path.with_name(f"{path.stem}_{label}.tif"))
            write_master(made[-1], cut(scan.bands(), left, right), right - left, height, 3, 16, scan.facts.icc,
                         (PPI, PPI), MasterTags("", (), "bench"), replace=True)  # fmt: skip
    return made[0], made[1]


def cut(bands: Iterator[npt.NDArray[Any]], left: int, right: int) -> Iterator[npt.NDArray[Any]]:
    for band in bands:
        yield np.ascontiguousarray(band[:, left:right])


class Bench:
    """The same tasks through either engine."""

    def __init__(self, folder: Path, bed: Bed) -> None:
        self._folder, self._bed, self._count = folder, bed, 0

    def measure(self, engine: Any, *paths: Path) -> list[Measured]:
        futures = [engine.submit("measuring", p.name, measure_scan, Ask(str(p), self._bed)) for p in paths]
        return [waited(engine, future) for future in futures]

    def make(self, engine: Any, paths: tuple[Path, ...], measured: list[Measured]) -> Made:
        self._count += 1
        staging, proofs = (self._folder / f"{what}-{self._count}" for what in ("staging", "proofs"))
        (staging / "data" / "parts").mkdir(parents=True)
        proofs.mkdir()
        labels = ("whole",) if len(paths) == 1 else ("L", "R")
        parts = tuple(
            PartAsk(i, str(p), p.name, label, "", self._bed, m, (), float(i))
            for i, (p, label, m) in enumerate(zip(paths, labels, measured, strict=True))
        )
        ask = JobAsk("SL-0401", BOOK, None, parts, None, (), str(staging), str(proofs), "bench", accepted=True)
        made: Made = waited(engine, engine.submit("joining", "SL-0401", make_job, ask, long=len(paths) > 1))
        assert made.outcome is Outcome.ARCHIVE
        for master in made.masters:
            assert (staging / master.path).stat().st_size == master.size_bytes
            (staging / master.path).unlink()
        return made


def waited(engine: Any, future: Any) -> Any:
    while not future.done():
        engine.watch()
        time.sleep(0.02)
    return future.result()


def timed(rows: Row, name: str, act: Callable[[], Any]) -> Any:
    begun = time.perf_counter()
    found = act()
    rows[name].append(time.perf_counter() - begun)
    return found


class Memory:
    """The largest resident memory of the pool's children while it is watched, MB."""

    def __init__(self, pool: Pool) -> None:
        self._pool, self._over, self.most_mb = pool, threading.Event(), 0.0
        self._thread = threading.Thread(target=self._look, daemon=True)

    def __enter__(self) -> Memory:
        self._thread.start()
        return self

    def __exit__(self, *error: object) -> None:
        self._over.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._over.wait(0.05):
            for number in self._pool.children():
                try:
                    pages = int(Path(f"/proc/{number}/statm").read_text("ascii").split()[1])
                except OSError:
                    continue
                self.most_mb = max(self.most_mb, pages * 4096 / 1e6)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--mb", type=float, default=500.0)
    parser.add_argument("--rounds", type=int, default=3)
    args = parser.parse_args()
    if os.getpid() != os.getpgrp():
        os.setsid()  # as the worker is: on a busy machine the kernel shares the cores out by sessions
    folder = Path(tempfile.mkdtemp(prefix="cluster-bench-", dir=args.folder))
    try:
        run(folder, args.mb, args.rounds)
    finally:
        shutil.rmtree(folder)


def run(folder: Path, megabytes: float, rounds: int) -> None:
    scans = (folder / "one.tif", folder / "two.tif")
    bed, _ = (make(scan, megabytes / 1000) for scan in scans)
    parts = halves(scans[0])
    pool, bench = Pool(2, 4096, 900.0, 50), Bench(folder, bed)
    times: dict[str, Row] = {"local": defaultdict(list), "dask": defaultdict(list)}
    with ExitStack() as stack:
        house = House(folder, stack)
        house.scheduler()
        house.worker("same-machine", slots=2)
        away = ClusterPool(NoPool(), lambda needs: limited_run(BOOK.work, needs), house.address, None, {}, 30.0)
        stack.callback(pool.close, False)
        stack.callback(away.close, False)
        for engine in (pool, away):  # children are born and have their libraries, files are warm
            (one, _, *both) = bench.measure(engine, *scans, *parts)
            bench.make(engine, scans[:1], [one])
            bench.make(engine, parts, both)
        with Memory(pool) as memory:
            for _ in range(rounds):
                for name, engine in (("local", pool), ("dask", away)):
                    rows = times[name]
                    (one,) = timed(rows, "one scan measured", lambda: bench.measure(engine, scans[0]))  # noqa: B023
                    timed(rows, "its master written", lambda: bench.make(engine, scans[:1], [one]))  # noqa: B023
                    timed(rows, "two scans at once", lambda: bench.measure(engine, *scans))  # noqa: B023
                    both = bench.measure(engine, *parts)
                    timed(rows, "two halves joined", lambda: bench.make(engine, parts, both))  # noqa: B023
    show(times, memory.most_mb, parts)


class NoPool:
    """Nothing may be done here: a task that comes back is an error of the bench."""

    def submit(self, what: str, subject: str, *given: Any, **options: Any) -> Any:
        raise RuntimeError(f"{what} {subject} came back to the studio")

    def places(self) -> int:
        return 0

    def waiting(self) -> int:
        return 0

    def progress(self) -> tuple[Any, ...]:
        return ()

    def watch(self) -> None:
        """Nobody to watch."""

    def close(self, wait: bool = True) -> None:
        """Nobody to end."""


def show(times: dict[str, Row], most_mb: float, parts: tuple[Path, Path]) -> None:
    print(f"{'':22}{'local':>9}{'dask':>9}{'overhead':>10}   (medians, seconds)")
    middle = {name: {k: statistics.median(v) for k, v in rows.items()} for name, rows in times.items()}
    whole = {name: m["one scan measured"] + m["its master written"] for name, m in middle.items()}
    for name in middle["local"]:
        one, other = middle["local"][name], middle["dask"][name]
        print(f"{name:22}{one:9.2f}{other:9.2f}{other / one - 1:10.1%}")
    print(f"{'a scan from end to end':22}{whole['local']:9.2f}{whole['dask']:9.2f}"
          f"{whole['dask'] / whole['local'] - 1:10.1%}")  # fmt: skip
    for name, m in middle.items():
        print(f"{name}: two at once reach {2 * m['one scan measured'] / m['two scans at once']:.2f} x one")
    octets = sum(p.stat().st_size for p in parts)
    print(f"a child held at most {most_mb:.0f} MB; a join of {octets / 1e6:.0f} MB was thought to need "
          f"{800 + octets / 1e6:.0f} MB")  # fmt: skip


if __name__ == "__main__":
    main()
