"""The unit as it is shipped, under a real process 1: started, fed, stopped, killed, hung; behind `--sweep`."""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from faults import evening
from faults.manager import NUMBER, USER, Manager

from dawnproof.storage.studio import Studio

pytestmark = pytest.mark.sweep
REPOSITORY = Path(__file__).resolve().parents[2]
UNIT = "dawnproof@srv-prints.service"
# the interpreter and the checkout may lie where the unit lets nobody look
DROP_IN = f"""[Service]
BindReadOnlyPaths={sys.base_prefix} {sys.prefix} {REPOSITORY}
WatchdogSec=15
"""


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    return evening.studio_at(tmp_path_factory.mktemp("lane") / "prints")


@pytest.fixture(scope="module")
def manager(studio: Studio, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Manager]:
    units = {
        "dawnproof@.service": (REPOSITORY / "systemd" / "dawnproof@.service").read_text("utf-8"),
        f"{UNIT}.d/here.conf": DROP_IN,
    }
    made = Manager(tmp_path_factory.mktemp("manager"), studio.root, units)
    yield made
    made.end()


@pytest.fixture(scope="module")
def entered() -> Counter[str]:
    """Digests of all that was put in, for the census at the end."""
    return Counter()


def until(true: Callable[[], object], what: str, manager: Manager, within_s: float = 90.0) -> float:
    begun = time.monotonic()
    while not true():
        assert time.monotonic() - begun < within_s, f"{what} did not happen\n{journal(manager)}"
        time.sleep(0.2)
    return time.monotonic() - begun


def journal(manager: Manager, *filters: str) -> str:
    return manager.run("journalctl", "--no-pager", "-n", "60", *(filters or ("-u", UNIT)))


def drop(studio: Studio, entered: Counter[str], number: int, part: str = "whole") -> None:
    """A scan of the user the unit names appears in the inbox."""
    path = studio.root / f"SL-{number:04d}_{part}.tif"
    entered[evening.scan(path, number, part)] += 1
    os.chown(path, NUMBER, NUMBER)
    path.rename(studio.inbox / path.name)


def archived(studio: Studio, *numbers: int) -> bool:
    """Whether their bags stand; a kill may come between a filing and its line in the journal."""
    return all((studio.archive / f"SL-{n:04d}" / "tagmanifest-sha256.txt").exists() for n in numbers)


def test_it_starts_and_says_that_it_is_ready(manager: Manager) -> None:
    manager.run("systemctl", "start", UNIT)
    assert manager.shown(UNIT, "ActiveState") == "active", journal(manager)
    assert "watching /srv/prints" in manager.shown(UNIT, "StatusText")
    number = manager.shown(UNIT, "MainPID")
    assert manager.run("ps", "-o", "user=", "-p", number).strip() == USER


def test_it_works_within_all_that_it_may_not_do(manager: Manager, studio: Studio, entered: Counter[str]) -> None:
    """A job in two parts, measured, joined, filed; what it made belongs to its user."""
    for part in ("L", "R"):
        entered[evening.scan(studio.inbox / f"SL-0412_{part}.tif", 1, part)] += 1
    until(lambda: "SL-0412 archived" in journal(manager), "filing", manager)
    assert (studio.archive / "SL-0412").stat().st_uid == studio.root.stat().st_uid
    assert (studio.proof / "SL-0412" / "proof.jpg").exists()
    entries = [json.loads(line) for line in journal(manager, "-o", "json", "DAWNPROOF_JOB=SL-0412").splitlines()]
    assert {e["DAWNPROOF_KIND"] for e in entries} >= {"measured", "filed"}
    assert all(e["SYSLOG_IDENTIFIER"] == "dawnproof" and e["_SYSTEMD_UNIT"] == UNIT for e in entries)


def test_the_watchdog_is_fed(manager: Manager) -> None:
    before = manager.shown(UNIT, "WatchdogTimestampMonotonic")
    assert before not in {"", "0"}
    until(lambda: manager.shown(UNIT, "WatchdogTimestampMonotonic") != before, "a sign of life", manager, 12.0)


def test_it_stops_in_time_and_goes_on_where_it_was(manager: Manager, studio: Studio, entered: Counter[str]) -> None:
    for number in range(500, 506):
        drop(studio, entered, number)
    until(lambda: "measured" in journal(manager, "DAWNPROOF_JOB=SL-0500"), "measuring", manager)
    begun = time.monotonic()
    manager.run("systemctl", "stop", UNIT, check=True)
    took_s = time.monotonic() - begun
    print(f"stopped after {took_s:.1f} s")
    assert took_s < 10
    assert manager.shown(UNIT, "Result") == "success"
    manager.run("systemctl", "start", UNIT, check=True)
    until(lambda: archived(studio, *range(500, 506)), "filing", manager)


def test_killed_it_is_started_again_and_recovers(manager: Manager, studio: Studio, entered: Counter[str]) -> None:
    before = int(manager.shown(UNIT, "NRestarts"))
    for number in range(600, 606):
        drop(studio, entered, number)
    until(lambda: "measured" in journal(manager, "DAWNPROOF_JOB=SL-0600"), "measuring", manager)
    manager.run("systemctl", "kill", "--kill-whom=main", "-s", "KILL", UNIT, check=True)
    until(lambda: archived(studio, *range(600, 606)), "filing", manager)
    assert int(manager.shown(UNIT, "NRestarts")) == before + 1


def test_hung_it_is_ended_and_started_again(manager: Manager, studio: Studio, entered: Counter[str]) -> None:
    """No sign of life for the watchdog's time."""
    before = int(manager.shown(UNIT, "NRestarts"))
    manager.run("systemctl", "kill", "--kill-whom=main", "-s", signal.SIGSTOP.name, UNIT, check=True)
    drop(studio, entered, 700)
    took_s = until(lambda: archived(studio, 700), "filing", manager)
    print(f"hung, ended, started again and filed after {took_s:.0f} s")
    assert int(manager.shown(UNIT, "NRestarts")) == before + 1


def test_a_fault_that_lasts_does_not_end_it_for_good(manager: Manager, studio: Studio, entered: Counter[str]) -> None:
    """It may not start for as long as it takes, and goes on by itself when the cause is gone."""
    manager.run("systemctl", "stop", UNIT, check=True)
    book = studio.root / "dawnproof.toml"
    good = book.read_text()
    book.write_text("[nonsense]\n" + good)
    manager.run("systemctl", "start", "--no-block", UNIT)
    until(lambda: "nonsense" in journal(manager), "its complaint", manager)
    for _ in range(6):  # as if the night had gone by
        manager.run("systemctl", "restart", "--no-block", UNIT)
        time.sleep(1.5)
    assert "start-limit" not in manager.shown(UNIT, "Result")
    book.write_text(good)
    drop(studio, entered, 800)
    until(lambda: archived(studio, 800), "filing", manager)


def test_nothing_was_lost_in_all_of_it(manager: Manager, studio: Studio, entered: Counter[str]) -> None:
    manager.run("systemctl", "stop", UNIT, check=True)
    homes = manager.run("sh", "-c", "find /srv/prints/archive -name '*.tif' -path '*/parts/*' -exec sha256sum {} +")
    there = Counter(line.split()[0] for line in homes.splitlines())
    assert there == entered
    assert not list(studio.inbox.glob("*.tif"))
