"""A night in minutes: the real daemon with its children, fed as fast as it files. Does it hold as much at the end as at
the beginning?

    python tests/bench/soak.py FOLDER [MINUTES] [SECONDS BETWEEN LINES]

Prints, as it goes, what daemon and children hold: memory (PSS, shared pages counted in part), open files, threads, and
how many jobs were filed; at the end the middle value of the second and of the last quarter. The first quarter is left
out: libraries are loaded, children born. Ends with the census of every scan that was put in.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(HERE), str(HERE.parent / "daemon")]

from faults import evening  # noqa: E402 - found by the path above

from dawnproof.ledger.ledger import Ledger  # noqa: E402
from dawnproof.storage.studio import Studio  # noqa: E402

MOST_WAITING = 24  # files in the inbox: as fast as they go, without piling up
KINDS = ("whole", "halves", "coarse", "again", "nameless", "whole", "note")


@dataclass(frozen=True)
class Held:
    """What daemon and children hold at one moment."""

    after_s: float
    daemon_mb: float
    children_mb: float
    files: int
    child_files: int
    threads: int
    filed: int


def pss_mb(pid: int) -> float:
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1]) / 1024
    return 0.0


def children_of(pid: int) -> list[int]:
    found = []
    for task in Path(f"/proc/{pid}/task").iterdir():
        found += [int(word) for word in (task / "children").read_text().split()]
    return found + [far for near in found for far in children_of(near)]


def entries(pid: int, folder: str) -> int:
    return sum(1 for _ in Path(f"/proc/{pid}/{folder}").iterdir())


def looked_at(pid: int, begun_s: float, filed: int) -> Held | None:
    """None where a child ended while it was looked at."""
    try:
        children = children_of(pid)
        return Held(
            time.monotonic() - begun_s, pss_mb(pid), sum(map(pss_mb, children)), entries(pid, "fd"),
            sum(entries(child, "fd") for child in children), entries(pid, "task"), filed,
        )  # fmt: skip
    except OSError:
        return None


def filed(studio: Studio) -> int:
    return sum(1 for p in (*studio.archive.iterdir(), *studio.rework.iterdir()) if p.name[0] not in "._")


def drop(studio: Studio, number: int, entered: Counter[str]) -> None:
    """The next of an endless evening, at one bed or the other; each evening's seventh is a note for nobody."""
    kind, bed = KINDS[number % len(KINDS)], studio.inbox / ("bed-a", "bed-b")[number % 2]
    job = f"SL-{number:05d}"
    if kind == "halves":
        for part in ("L", "R"):
            entered[evening.scan(bed / f"{job}_{part}.tif", number, part)] += 1
    elif kind == "note":
        (bed / f"note{number}.log").write_text("left alone")
    elif kind == "again":
        entered[evening.scan(bed / f"SL-{number - 1:05d}_whole_t2.tif", number - 1)] += 1
    else:
        name = f"scan {number}.tif" if kind == "nameless" else f"{job}_whole.tif"
        entered[evening.scan(bed / name, number, ppi=100.0 if kind == "coarse" else 400.0)] += 1


def main(folder: Path, minutes: float, every_s: float) -> None:
    studio = evening.studio_at(folder / "studio", "[fixity]\nshare_percent = 100.0\n")
    entered: Counter[str] = Counter()
    log = (folder / "log.txt").open("wb")
    daemon = subprocess.Popen([sys.executable, "-m", "dawnproof", "watch", str(studio.root), "--plain"], stdout=log,
                              env=os.environ | {"PYTHONPATH": str(HERE.parent / "daemon")})  # fmt: skip
    begun_s = time.monotonic()
    held: list[Held] = []
    number, next_s = 0, every_s
    print("seconds  daemon MB  children MB  files  of children  threads  jobs filed", flush=True)
    while (now_s := time.monotonic() - begun_s) < minutes * 60:
        assert daemon.poll() is None, "the daemon lives"
        if sum(1 for p in studio.inbox.rglob("*.tif")) < MOST_WAITING:
            drop(studio, number, entered)
            number += 1
        else:
            time.sleep(0.1)
        if now_s >= next_s and (seen := looked_at(daemon.pid, begun_s, filed(studio))):
            held.append(seen)
            next_s = now_s + every_s
            print(f"{seen.after_s:7.0f}  {seen.daemon_mb:9.1f}  {seen.children_mb:11.1f}  {seen.files:5d}  "
                  f"{seen.child_files:11d}  {seen.threads:7d}  {seen.filed:10d}", flush=True)  # fmt: skip
    begun_s = time.monotonic()
    daemon.terminate()
    assert daemon.wait(timeout=60) == 0
    print(f"ended {time.monotonic() - begun_s:.1f} s after it was told to")
    quarter = len(held) // 4
    for name in ("daemon_mb", "children_mb", "files", "child_files", "threads"):
        early, late = (
            statistics.median(getattr(h, name) for h in part) for part in (held[quarter : 2 * quarter], held[-quarter:])
        )
        print(f"{name}: second quarter {early:.1f}, last quarter {late:.1f}, {100 * (late / early - 1):+.1f} %")
    evening.run_until_idle(studio.root)
    ledger = Ledger.read(studio.ledger_path)
    print(f"{number} drops, {sum(entered.values())} scans, {len(ledger.all_scans())} rows, {len(ledger.jobs())} jobs")
    ledger.close()
    evening.check_census(studio, entered)
    print("census: every scan has one home, and stands there once")


if __name__ == "__main__":
    main(Path(sys.argv[1]), float(sys.argv[2]) if len(sys.argv) > 2 else 10.0,
         float(sys.argv[3]) if len(sys.argv) > 3 else 10.0)  # fmt: skip
