"""Backpressure: many files, many jobs at once. Work a file is constant, beds take turns, an end is quick, idleness is
cheap."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from faults import evening

from dawnproof.ledger.connection import Connection


class Counted:
    """Statements the ledger runs and rows it gives."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.count: Counter[str] = Counter()
        run, rows = Connection._run, Connection._rows

        def counted_run(db: Connection, sql: str, values: Sequence[Any] = ()) -> Any:
            self.count["written"] += 1
            return run(db, sql, values)

        def counted_rows(db: Connection, sql: str, values: Sequence[Any] = ()) -> Any:
            found = rows(db, sql, values)
            self.count["asked"] += 1
            self.count["rows"] += len(found)
            return found

        monkeypatch.setattr(Connection, "_run", counted_run)
        monkeypatch.setattr(Connection, "_rows", counted_rows)


@pytest.mark.parametrize("kind", ["notes", "broken"])
def test_the_ledger_works_as_much_for_the_last_file_as_for_the_first(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    each: dict[int, dict[str, float]] = {}
    for many in (60, 240):
        studio = evening.studio_at(tmp_path / f"studio{many}")
        for number in range(many):
            name = f"note{number}.txt" if kind == "notes" else f"SL-{number:04d}_whole.tif"
            (studio.inbox / name).write_bytes(b"II*\0" + b"%d" % number)
        with monkeypatch.context() as patch:
            counted = Counted(patch)
            evening.run_until_idle(studio.root)
        assert len(evening.homes(studio)) == many
        each[many] = {what: counted.count[what] / many for what in counted.count}
    print(each)
    for what in ("written", "asked", "rows"):
        assert each[240][what] < 1.25 * each[60][what] + 1.0


def test_many_jobs_at_once(tmp_path: Path, sweep: bool) -> None:
    """Every job has its outcome, no more than a few are under way at a time, memory does not grow with their number."""
    studio = evening.studio_at(tmp_path / "studio")
    many = 200 if sweep else 24
    entered: Counter[str] = Counter()
    for number in range(many):
        entered[evening.scan(studio.inbox / f"SL-{number:04d}_whole.tif", number)] += 1
    heard = evening.run_until_idle(studio.root)
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    evening.run_until_idle(studio.root)
    grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb) / 1024
    assert grown_mb < 30
    assert sum(e.kind == "filed" for e in heard.events) == many
    evening.check_census(studio, entered)


def test_a_flood_at_one_bed_does_not_make_the_other_wait(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    for number in range(20):
        evening.scan(studio.inbox / "bed-a" / f"SL-{number:04d}_L.tif", number % 3)
    time.sleep(0.02)
    for number in (900, 901):
        evening.scan(studio.inbox / "bed-b" / f"SL-{number}_L.tif", 3 + number % 2)
    order: list[str] = []
    pool = evening.InlinePool(lambda what, subject: order.append(subject))
    evening.run_until_idle(studio.root, pool)
    last = max(order.index(f"SL-{n}_L.tif") for n in (900, 901))
    assert last < 6, f"the other bed's two scans are among the first, not number {last}"


def test_an_idle_daemon_costs_next_to_nothing(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    toml = (studio.root / "dawnproof.toml").read_text()
    (studio.root / "dawnproof.toml").write_text(
        toml.replace("settle_s = 0.2", "settle_s = 10").replace("scan_s = 1.0", "")
    )
    with evening.Living(studio.root, beat_s=5.0, retry_s=10.0) as daemon:
        time.sleep(1.0)
        cpu, wall = time.process_time(), time.monotonic()
        daemon.until(lambda: time.monotonic() - wall > 5.0, "five seconds")
        share = (time.process_time() - cpu) / (time.monotonic() - wall)
    print(f"{100 * share:.2f} % of a core, the waiting of this test included")
    assert share < 0.04


def test_sigterm_ends_a_real_daemon_in_time(tmp_path: Path) -> None:
    """With children at work; the next start finishes everything."""
    studio = evening.studio_at(tmp_path / "studio")
    entered = Counter(evening.scan(studio.inbox / f"SL-{n:04d}_whole.tif", n) for n in range(6))
    daemon = subprocess.Popen(
        [sys.executable, "-m", "dawnproof", "watch", str(studio.root), "--plain"], stdout=subprocess.PIPE, text=True,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2] / "daemon")},
    )  # fmt: skip
    assert daemon.stdout
    for line in daemon.stdout:
        if "measured" in line:
            break
    begun = time.monotonic()
    daemon.send_signal(signal.SIGTERM)
    said = daemon.stdout.read()
    assert daemon.wait(timeout=30) == 0
    took = time.monotonic() - begun
    print(f"ended after {took:.1f} s")
    assert took < 10
    assert "stopped in order" in said
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
