"""What 1, 10 and 100 beds ask of a house, and what gives out first: python tests/bench/growth.py FOLDER

First the constants are measured on this machine, in FOLDER (in memory, /dev/shm, where disks shall not count), see
`growth_constants.py`. Then a day is simulated for each number of beds: every bed gives its scans over a shift, jobs of
one and of two parts come in turns, measuring goes before joining, cores are the places of as many computers as are
asked for. Printed: what a day asks for in bytes, decode seconds, ledger rows and archive reads; how busy cores, store
and the studio's own daemon are; how long a scan waits for its verdict (median, 95 of 100) and how long after the shift
the last job is filed; the fewest computers with which 95 of 100 scans have their verdict within ten minutes; and how
many beds each means carries.

What this machine cannot show is given: --store and --disk in MB/s, --cores of a computer; --store-at FOLDER and
--disk-at FOLDER measure the house's own instead. A core is thought to do what one does here beside another. The store
is counted, not simulated: where it is more than busy, nothing else helps.
"""

from __future__ import annotations

import argparse
import heapq
import os
import shutil
import statistics
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as in the product's children

import numpy as np

# in place of this file's own folder: modules of the benches are named from tests/ on
sys.path[:1] = [str(Path(__file__).parents[2] / "daemon"), str(Path(__file__).parents[1])]

from bench.growth_constants import Constants, measured_constants, speed_of  # noqa: E402 - run from anywhere

DAY_GB = 40.0  # of a bed
SCAN_GB = 0.5
SHIFT_H = 8.0  # in which the beds are used
NIGHT_H = 16.0  # until the next shift
READ_BACK = 1.0  # a master from another computer is read whole by the daemon before it is taken up
SECOND_PASSES = 3.0  # of scans and masters: read, written on the second disk, read back there
FIXITY_SHARE = 0.02
ROUND = 3  # jobs of a repeating order: two of one part, one of two


@dataclass(frozen=True)
class Day:
    """What came of one simulated day."""

    waits_s: tuple[float, ...]
    overtime_h: float
    busy_cores: float
    busy_daemon: float
    busy_store: float


class House:
    """One day of a house: places for tasks, one daemon, one store. Times in seconds from the shift's beginning."""

    def __init__(self, constants: Constants, beds: int, places: int, store_mb_s: float, cluster: bool) -> None:
        self._k, self._beds, self._places, self._store, self._cluster = constants, beds, places, store_mb_s, cluster
        self._free = places
        self._events: list[tuple[float, int, str, tuple[Any, ...]]] = []
        self._count = 0
        self._short: list[tuple[float, int, tuple[Any, ...]]] = []
        self._long: list[tuple[float, int, tuple[Any, ...]]] = []
        self._daemon_free_s = 0.0
        self._core_s = self._daemon_s = self._store_gb = 0.0
        self._waits: list[float] = []
        self._last_s = 0.0

    def run(self) -> Day:
        self._send_scans()
        while self._events:
            now, _, what, given = heapq.heappop(self._events)
            getattr(self, f"_{what}")(now, *given)
            self._feed(now)
        day_s = max(SHIFT_H * 3600, self._last_s)
        return Day(
            tuple(self._waits), max(0.0, self._last_s / 3600 - SHIFT_H), self._core_s / (self._places * day_s),
            self._daemon_s / day_s, 1000 * self._store_gb / self._store / day_s,
        )  # fmt: skip

    def _send_scans(self) -> None:
        """Beds begin at different minutes; each gives its scans at even intervals, with a little of a person's own."""
        rng, count = np.random.default_rng(1), int(DAY_GB / SCAN_GB)
        for bed in range(self._beds):
            begins = rng.uniform(0, SHIFT_H * 3600 / count)
            for number in range(count):
                came = begins + (number + rng.uniform(-0.3, 0.3)) * SHIFT_H * 3600 / count
                self._at(max(0.0, came), "came", bed, number)

    def _at(self, when: float, what: str, *given: Any) -> None:
        self._count += 1
        heapq.heappush(self._events, (when, self._count, what, given))

    def _came(self, now: float, bed: int, number: int) -> None:
        place = number % (ROUND + 1)
        parts = 2 if place >= ROUND - 1 else 1
        heapq.heappush(self._short, (now, self._next(), ("measured", self._k.measure_s * SCAN_GB, now, place, parts)))

    def _measured(self, now: float, came: float, place: int, parts: int) -> None:
        self._waits.append(now - came)
        self._store_gb += self._k.measure_gb * SCAN_GB
        if parts == 2 and place == ROUND - 1:
            return  # waits for its other part
        seconds = (self._k.join_s if parts == 2 else self._k.write_s) * SCAN_GB * parts
        queue = self._long if parts == 2 else self._short
        heapq.heappush(queue, (now, self._next(), ("made", seconds, parts)))

    def _made(self, now: float, parts: int) -> None:
        """The daemon files: its own computing, and elsewhere's master read back."""
        work = self._k.job_ms / 1000 + (self._k.digest_s * SCAN_GB * parts if self._cluster else 0.0)
        moved_gb = self._k.join_gb if parts == 2 else self._k.write_gb
        self._store_gb += (moved_gb + (READ_BACK if self._cluster else 0.0)) * SCAN_GB * parts
        begins = max(now, self._daemon_free_s)
        self._daemon_free_s = self._last_s = begins + work
        self._daemon_s += work

    def _feed(self, now: float) -> None:
        while self._free and (self._short or self._long):
            _, _, (then, seconds, *given) = heapq.heappop(self._short or self._long)
            self._free -= 1
            self._core_s += seconds
            self._at(now + seconds, "ended", then, given)

    def _ended(self, now: float, then: str, given: list[Any]) -> None:
        self._free += 1
        getattr(self, f"_{then}")(now, *given)

    def _next(self) -> int:
        self._count += 1
        return self._count


def fewest(constants: Constants, beds: int, cores: int, store: float) -> tuple[int, Day]:
    """The fewest computers with which 95 of 100 scans have their verdict within ten minutes and the night suffices."""
    computers = 1
    while True:
        day = House(constants, beds, computers * cores, store, computers > 1).run()
        if np.percentile(day.waits_s, 95) <= 600 and day.overtime_h <= 1.0:
            return computers, day
        computers = max(computers + 1, int(computers * 1.05))


def show(constants: Constants, cores: int, store: float, disk: float) -> None:
    k = constants
    print(f"measured, seconds a GB: {k.measure_s:.1f} decoded and checked, {k.write_s:.1f} cropped and written, "
          f"{k.join_s:.1f} joined, {k.digest_s:.2f} digested")  # fmt: skip
    print(f"measured, GB read and written for a GB: {k.measure_gb:.2f} checked, {k.write_gb:.2f} cropped and written, "
          f"{k.join_gb:.2f} joined")  # fmt: skip
    print(f"measured, a job: {k.job_ms:.0f} ms of the daemon, {k.rows_a_job:.1f} rows, {k.ledger_kb_a_job:.0f} kB")
    print(f"given, or measured where asked for: {cores} cores a computer, store {store:.0f} MB/s, second copy's disk "
          f"{disk:.0f} MB/s")  # fmt: skip
    for beds in (1, 10, 100):
        print()
        show_demand(k, beds, store, disk)
        show_day("one computer", House(k, beds, cores, store, False).run())
        needed, day = fewest(k, beds, cores, store)
        show_day(f"{needed} computer(s)", day)
    print(f"\ngives out: {limits(k, cores, store, disk)}")


def show_demand(k: Constants, beds: int, store: float, disk: float) -> None:
    gigabytes, scans = beds * DAY_GB, beds * DAY_GB / SCAN_GB
    jobs, year_gb = scans * ROUND / (ROUND + 1), 2 * gigabytes * 250
    fixity_gb = FIXITY_SHARE * year_gb
    print(f"{beds} bed(s): {gigabytes:.0f} GB, {scans:.0f} scans, {jobs:.0f} jobs a day; the archive grows by "
          f"{year_gb / 1000:.0f} TB a year of 250 days, scans and masters")  # fmt: skip
    print(f"  decode {k.measure_s * gigabytes:.0f} s of a core = {k.measure_s * gigabytes / 3600:.1f} h; ledger "
          f"{k.rows_a_job * jobs:.0f} rows, {k.ledger_kb_a_job * jobs / 1000:.0f} MB a day")  # fmt: skip
    print(f"  archive read again {fixity_gb:.0f} GB a night after a year = {fixity_gb * 1000 / store / 3600:.1f} h of "
          f"{NIGHT_H:.0f}; second copy {2 * SECOND_PASSES * gigabytes * 1000 / disk / 3600:.1f} h a day")  # fmt: skip


def show_day(who: str, day: Day) -> None:
    print(f"  {who}: verdict after {statistics.median(day.waits_s):.0f} s (95 of 100: "
          f"{np.percentile(day.waits_s, 95):.0f} s), last job {day.overtime_h:.1f} h after the shift")  # fmt: skip
    print(f"    busy: cores {day.busy_cores:.0%}, daemon {day.busy_daemon:.1%}, store {day.busy_store:.0%}")


def limits(constants: Constants, cores: int, store: float, disk: float) -> str:
    """How many beds each means carries: the cores and the daemon within a shift, the store by a day, the archive's
    yearly reading by a night."""
    a_scan = constants.measure_s + (constants.write_s + constants.join_s) / 2
    over_store = constants.measure_gb + (constants.write_gb + constants.join_gb) / 2
    shift_s, day_s = SHIFT_H * 3600, (SHIFT_H + NIGHT_H) * 3600
    jobs = DAY_GB / SCAN_GB * ROUND / (ROUND + 1)
    carried = {
        f"{cores} cores in a shift": cores * shift_s / (DAY_GB * a_scan),
        "the store in a shift": store * shift_s / 1000 / (DAY_GB * over_store),
        "the store, with helpers": store * shift_s / 1000 / (DAY_GB * (over_store + READ_BACK)),
        "a second copy in a day": disk * day_s / 1000 / (2 * SECOND_PASSES * DAY_GB),
        "the daemon in a shift": shift_s / (jobs * constants.job_ms / 1000 + DAY_GB * constants.digest_s),
        "reading 2 % of a year's archive in a night": store * NIGHT_H * 3600 / 1000 / (FIXITY_SHARE * 2 * DAY_GB * 250),
    }
    return "; ".join(f"{name} {beds:.1f} beds" for name, beds in sorted(carried.items(), key=lambda pair: pair[1]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--gb", type=float, default=0.25, help="size of the scan the constants are measured on")
    parser.add_argument("--jobs", type=int, default=300, help="jobs of the ledger's constant")
    parser.add_argument("--cores", type=int, default=2)
    parser.add_argument("--store", type=float, default=110.0)
    parser.add_argument("--disk", type=float, default=200.0)
    parser.add_argument("--store-at", type=Path)
    parser.add_argument("--disk-at", type=Path)
    args = parser.parse_args()
    os.environ["VIPS_BLOCK_UNTRUSTED"] = "1"
    folder = Path(tempfile.mkdtemp(prefix="growth-", dir=args.folder))
    try:
        constants = measured_constants(folder, args.gb, args.jobs)
    finally:
        shutil.rmtree(folder)
    store, disk = (speed_of(at) if at else given
                   for at, given in ((args.store_at, args.store), (args.disk_at, args.disk)))  # fmt: skip
    show(constants, args.cores, store, disk)


if __name__ == "__main__":
    main()
