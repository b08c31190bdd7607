"""Rows 10 to 12, 14 and 15 of the fault table: events that are lost, folders that vanish, shares that say nothing or do
not answer."""

from __future__ import annotations

import logging
import os
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from faults import evening
from faults.conftest import FaultyShare, Mounted
from faults.killing import Stage, stage
from real_disks import run

from dawnproof.errors import LedgerError
from dawnproof.ledger.ledger import Ledger
from dawnproof.model import Place
from dawnproof.notice.service_notify import ServiceNotify
from dawnproof.service import arrivals, loop
from dawnproof.service.rounds import LATE_S, LOOK_S, Rounds
from dawnproof.storage.studio import Studio
from dawnproof.watch import inbox, observer


def drop_half(studio: Studio, folder: Path | None = None) -> str:
    """One part of two: it waits in the inbox."""
    return evening.scan((folder or studio.inbox) / "SL-0412_L.tif", 1, "L")


def waits(daemon: evening.Living) -> bool:
    rows = [r for r in evening.homes(daemon.studio) if r.place is Place.INBOX]
    return bool(rows) and all(Path(r.home).exists() for r in rows)


# 10, 11: events


def test_an_overflow_of_the_queue(tmp_path: Path, remembered: Path) -> None:
    """The daemon stands still while more happens than the kernel remembers; the next full scan finds everything."""
    with stage(remembered) as player:
        overflow(player, evening.studio_at(tmp_path / "studio"), tmp_path)


def overflow(player: Stage, studio: Studio, tmp_path: Path) -> None:
    most = int(Path("/proc/sys/fs/inotify/max_queued_events").read_text())
    if most > 100_000:
        pytest.skip(f"the kernel's queue holds {most} events: too many to overflow it in a test")
    child = player.begin(studio.root, "live")
    began = time.monotonic()
    while not (studio.ledger_path.exists() and "begun" in said(studio)):
        assert time.monotonic() - began < 30
        time.sleep(0.1)
    os.kill(child, 19)
    for number in range(most // 2 + 500):  # two events each
        (studio.inbox / f"{number}.log").touch()
    entered = Counter([evening.scan(studio.inbox / "SL-0001_whole.tif", 1)])
    os.kill(child, 18)
    while not (studio.archive / "SL-0001").is_dir():
        assert time.monotonic() - began < 120, said(studio)
        time.sleep(0.1)
    os.kill(child, 15)
    assert player.ended() == 0
    for file in studio.inbox.glob("*.log"):
        file.unlink()
    evening.check_census(studio, entered)


def said(studio: Studio) -> str:
    try:
        ledger = Ledger.read(studio.ledger_path)
    except LedgerError:  # it is only being made
        return ""
    try:
        return "\n".join(f"{e.kind} {e.text}" for e in ledger.events())
    finally:
        ledger.close()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_an_exception_while_events_are_passed_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """It would end watching for good; watching is begun again, and the full scan finds what was missed."""
    studio = evening.studio_at(tmp_path / "studio")

    def bursting(self: object, event: object) -> None:
        raise ValueError("a handler that fails")

    with evening.Living(studio.root) as daemon:
        daemon.rest(0.5)
        with monkeypatch.context() as patch, caplog.at_level(logging.CRITICAL, "watchdog"):
            patch.setattr(observer._Hinting, "dispatch", bursting)
            (studio.inbox / "a.log").touch()
            daemon.rest(1.0)
        entered = Counter([evening.scan(studio.inbox / "SL-0001_whole.tif", 1)])
        daemon.until_filed("SL-0001")
    (studio.inbox / "a.log").unlink()
    evening.check_census(studio, entered)


def test_no_events_at_all(tmp_path: Path, share: FaultyShare) -> None:
    """Another machine writes to the share: found by the full scan, whole, once."""
    (share.back / "inbox").mkdir()
    studio = evening.studio_at(tmp_path / "studio", f'[folders]\ninbox = "{share.mount / "inbox"}"\n')
    with evening.Living(studio.root) as daemon:
        daemon.rest(0.5)
        entered = Counter([evening.scan(share.back / "inbox" / "SL-0001_whole.tif", 1)])
        daemon.until_filed("SL-0001")
    evening.check_census(studio, entered)


# 12: the inbox


@pytest.mark.parametrize("how", ["unmounted", "mounted over"])
def test_an_inbox_whose_disk_goes_and_comes(how: str, tmp_path: Path, memory_disk: Mounted) -> None:
    place, aside = tmp_path / "inbox", tmp_path / "aside"
    aside.mkdir()
    if how == "unmounted":
        memory_disk(place)
        run("mount", "--bind", str(place), str(aside))
    studio = evening.studio_at(tmp_path / "studio", f'[folders]\ninbox = "{place}"\n')
    try:
        with evening.Living(studio.root) as daemon:
            entered = Counter([drop_half(studio)])
            daemon.until(lambda: waits(daemon), "admission")
            if how == "unmounted":
                run("umount", "-l", str(place))
            else:
                memory_disk(place)
            words = "its disk is not mounted" if how == "unmounted" else "mounted over"
            assert daemon.until(lambda: words in daemon.alarms, "an alarm") < 5.0
            (place / "SL-0999_whole.tif").write_bytes(b"written into the bare mount point")
            daemon.rest(2.0)
            assert [p.name for p in place.iterdir()] == ["SL-0999_whole.tif"], "left alone"
            assert not daemon.heard.said("was taken out of the inbox"), "an absent disk is no person"
            if how == "unmounted":
                (place / "SL-0999_whole.tif").unlink()
                run("mount", "--bind", str(aside), str(place))
            else:
                run("umount", "-l", str(place))
            daemon.until_calm()
            entered[evening.scan(place / "SL-0412_R.tif", 1, "R")] += 1
            daemon.until_filed("SL-0412")
            assert sum(e.text.startswith("SL-0412_L.tif") and e.kind == "measured" for e in daemon.heard.events) == 1
        evening.check_census(studio, entered)
    finally:
        subprocess.run(["umount", "-l", str(aside)], check=False, capture_output=True)


def test_an_inbox_that_is_away_at_the_start(tmp_path: Path, memory_disk: Mounted) -> None:
    place, aside = tmp_path / "inbox", tmp_path / "aside"
    aside.mkdir()
    memory_disk(place)
    run("mount", "--bind", str(place), str(aside))
    studio = evening.studio_at(tmp_path / "studio", f'[folders]\ninbox = "{place}"\n')
    try:
        with evening.Living(studio.root) as daemon:
            entered = Counter([drop_half(studio)])
            daemon.until(lambda: waits(daemon), "admission")
        run("umount", "-l", str(place))
        heard = evening.run_until_idle(studio.root)
        assert heard.said("its disk is not mounted")
        assert not heard.said("was taken out of the inbox")
        run("mount", "--bind", str(aside), str(place))
        entered[evening.scan(place / "SL-0412_R.tif", 1, "R")] += 1
        evening.run_until_idle(studio.root)
        evening.check_census(studio, entered)
        assert (studio.archive / "SL-0412").is_dir()
    finally:
        subprocess.run(["umount", "-l", str(aside)], check=False, capture_output=True)


@pytest.mark.parametrize("how", ["renamed", "deleted"])
def test_an_inbox_that_is_replaced(how: str, tmp_path: Path) -> None:
    """Said within five seconds, watched again when it is back; scans that came back are not admitted twice."""
    studio = evening.studio_at(tmp_path / "studio")
    with evening.Living(studio.root) as daemon:
        entered = Counter([drop_half(studio)])
        daemon.until(lambda: waits(daemon), "admission")
        aside = studio.root / "inbox-aside"
        studio.inbox.rename(aside)
        assert daemon.until(lambda: "is gone" in daemon.alarms, "an alarm") < 5.0
        daemon.rest(1.0)
        if how == "deleted":
            shutil.copytree(aside, studio.inbox)
            shutil.rmtree(aside)
        else:
            aside.rename(studio.inbox)
        daemon.until_calm()
        entered[evening.scan(studio.inbox / "SL-0412_R.tif", 1, "R")] += 1
        daemon.until_filed("SL-0412")
    evening.check_census(studio, entered)


def test_a_new_folder_in_place_of_the_inbox(tmp_path: Path) -> None:
    """Events would still come from the renamed one; what is put into the new one is found, what was in the old one is
    said to be gone, and is known again when it is brought back."""
    studio = evening.studio_at(tmp_path / "studio")
    with evening.Living(studio.root) as daemon:
        entered = Counter([drop_half(studio)])
        daemon.until(lambda: waits(daemon), "admission")
        aside = studio.root / "inbox-aside"
        studio.inbox.rename(aside)
        studio.inbox.mkdir()
        entered[evening.scan(studio.inbox / "SL-0001_whole.tif", 2)] += 1
        daemon.until_filed("SL-0001")
        daemon.until_said("SL-0412_L.tif was taken out of the inbox")
        (aside / "SL-0412_L.tif").rename(studio.inbox / "SL-0412_L.tif")
        entered[evening.scan(studio.inbox / "SL-0412_R.tif", 1, "R")] += 1
        daemon.until_filed("SL-0412")
    evening.check_census(studio, entered)


def test_one_bed_away_does_not_hold_up_the_other(tmp_path: Path, memory_disk: Mounted) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    bed = studio.inbox / "bed-b"
    memory_disk(bed)
    with evening.Living(studio.root) as daemon:
        drop_half(studio, bed)
        daemon.until(lambda: waits(daemon), "admission")
        run("umount", "-l", str(bed))
        daemon.until(lambda: "bed-b" in daemon.alarms, "an alarm", within_s=5.0)
        entered = evening.scan(studio.inbox / "bed-a" / "SL-0001_whole.tif", 1)
        daemon.until_filed("SL-0001")
        assert entered
        assert not daemon.heard.said("was taken out of the inbox")


# 15: a share that does not answer


def test_a_bed_that_hangs_holds_up_no_other(tmp_path: Path, share: FaultyShare) -> None:
    """Said within five seconds on dashboard and in the log; the other bed goes on, signs of life go to the service
    manager, and all goes on when the share answers."""
    studio = evening.studio_at(tmp_path / "studio")
    bed = studio.inbox / "bed-b"
    run("mount", "--bind", str(share.mount), str(bed))
    try:
        with (
            signs_of_life(tmp_path) as (manager, notify),
            evening.Living(studio.root, notify=notify, beat_s=0.3) as daemon,
        ):
            entered = Counter([drop_half(studio, share.back)])
            daemon.until(lambda: waits(daemon), "admission")
            share.fail("all SLEEP")
            assert daemon.until(lambda: "bed-b does not answer" in daemon.alarms, "an alarm") < 5.0
            assert daemon.heard.said("bed-b does not answer"), "in the log as well"
            begun = time.monotonic()
            entered[evening.scan(studio.inbox / "bed-a" / "SL-0001_whole.tif", 1)] += 1
            daemon.until_filed("SL-0001")
            assert time.monotonic() - begun < 15, "no slower than ever"
            daemon.until(lambda: "WATCHDOG=1" in heard(manager), "signs of life")
            assert not daemon.heard.said("was taken out of the inbox"), "who does not answer has lost nothing"
            share.heal()
            daemon.until_calm()
            entered[evening.scan(share.back / "SL-0412_R.tif", 1, "R")] += 1
            daemon.until_filed("SL-0412")
        evening.check_census(studio, entered)
    finally:
        subprocess.run(["umount", "-l", str(bed)], check=False, capture_output=True)


@pytest.mark.parametrize("name", ["inbox", "archive"])
def test_a_folder_that_hangs_is_said_and_waited_for(name: str, tmp_path: Path, share: FaultyShare) -> None:
    """With its screen: nothing that is drawn may ask the disk that hangs."""
    (share.back / name).mkdir()
    studio = evening.studio_at(tmp_path / "studio", f'[folders]\n{name} = "{share.mount / name}"\n')
    with evening.Living(studio.root) as daemon:
        daemon.rest(0.5)
        share.fail("all SLEEP")
        assert daemon.until(lambda: f"{name} does not answer" in daemon.alarms, "an alarm") < 5.0
        written = share.back / "inbox" if name == "inbox" else studio.inbox
        entered = Counter([evening.scan(written / "SL-0001_whole.tif", 1)])
        if name == "archive":
            daemon.until(lambda: daemon.heard.said("SL-0001_whole.tif: whole measured"), "measuring goes on")
        daemon.rest(1.0)
        share.heal()
        daemon.until_filed("SL-0001")
        daemon.until_calm()
    evening.check_census(studio, entered)


@pytest.mark.sweep
def test_a_daemon_with_a_hung_folder_ends_in_time(tmp_path: Path, share: FaultyShare) -> None:
    """Its child is held in a system call that does not return, and what it began cannot be tidied away either."""
    (share.back / "archive").mkdir()
    studio = evening.studio_at(tmp_path / "studio", f'[folders]\narchive = "{share.mount / "archive"}"\n')
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2] / "daemon")}
    daemon = subprocess.Popen([sys.executable, "-m", "dawnproof", "watch", str(studio.root), "--plain"],
                              stdout=subprocess.PIPE, text=True, env=environment)  # fmt: skip
    try:
        assert daemon.stdout
        assert any("watches the studio" in line for line in daemon.stdout)
        share.fail("rename SLEEP")
        entered = Counter([evening.scan(studio.inbox / "SL-0001_whole.tif", 1)])
        assert any("whole measured" in line for line in daemon.stdout)
        until = time.monotonic() + 40
        while not (parts := list((share.back / "archive").rglob("*.part"))):
            assert time.monotonic() < until, "something is being written"
            time.sleep(0.1)
        time.sleep(1.0)
        assert list((share.back / "archive").rglob("*.part")) == parts, "and is held"
        begun = time.monotonic()
        daemon.terminate()
        assert daemon.wait(timeout=30) == 0
        print(f"ended after {time.monotonic() - begun:.1f} s")
        assert time.monotonic() - begun < 10
    finally:
        share.heal()
        daemon.kill()
        daemon.wait(timeout=30)
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)


def test_a_loop_that_is_held_is_said_by_another_thread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder that hangs between being asked and being used keeps the loop with it; said within five seconds, here
    within fewer."""
    assert LATE_S + LOOK_S < 5
    studio = evening.studio_at(tmp_path / "studio")
    go, real = threading.Event(), inbox.scan_inbox
    monkeypatch.setattr(loop, "Rounds", partial(Rounds, late_s=1.0))
    with (
        signs_of_life(tmp_path) as (manager, notify),
        evening.Living(studio.root, notify=notify, beat_s=0.3) as daemon,
    ):
        daemon.until(lambda: "WATCHDOG=1" in heard(manager), "signs of life")

        def hanging(*given: Any, **options: Any) -> Any:
            go.wait()
            return real(*given, **options)

        monkeypatch.setattr(arrivals, "scan_inbox", hanging)
        daemon.until(lambda: "the daemon waits for the inbox" in daemon.alarms, "an alarm", 10.0)
        assert daemon.heard.said("the daemon waits for the inbox")
        daemon.until(lambda: silent(manager, 1.5), "no signs of life meanwhile")
        go.set()
        daemon.until_calm()
        daemon.until(lambda: "WATCHDOG=1" in heard(manager), "signs of life again")
        entered = Counter([evening.scan(studio.inbox / "SL-0001_whole.tif", 1)])
        daemon.until_filed("SL-0001")
    evening.check_census(studio, entered)


def test_a_thread_that_died_stops_the_signs_of_life(tmp_path: Path) -> None:
    """What is handed to it would wait for ever, while the loop goes round as if nothing were wrong."""
    studio = evening.studio_at(tmp_path / "studio")
    with (
        signs_of_life(tmp_path) as (manager, notify),
        evening.Living(studio.root, notify=notify, beat_s=0.3) as daemon,
    ):
        entered = Counter([evening.scan(studio.inbox / "SL-0001_whole.tif", 1)])
        daemon.until_filed("SL-0001")
        daemon.until(lambda: "WATCHDOG=1" in heard(manager), "signs of life")
        daemon.service._filing.shutdown(wait=True)  # its thread ends, and nobody was told
        daemon.until(lambda: "a part of the daemon has died (filing)" in daemon.alarms, "an alarm", 5.0)
        daemon.until(lambda: silent(manager, 1.5), "silence")
    evening.check_census(studio, entered)


def test_a_filing_that_is_held_is_said_and_left_at_the_end(
    tmp_path: Path, share: FaultyShare, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder answers, but one call does not return: measuring goes on, the daemon ends without its thread."""
    monkeypatch.setattr(loop, "HELD_S", 1.0)
    monkeypatch.setattr(loop, "END_S", 1.0)
    (share.back / "rework").mkdir()
    studio = evening.studio_at(tmp_path / "studio", f'[folders]\nrework = "{share.mount / "rework"}"\n')
    with evening.Living(studio.root) as daemon:
        share.fail("rename SLEEP")
        entered = Counter([evening.scan(studio.inbox / "scan50.tif", 50)])
        daemon.until(lambda: "filing waits for a disk" in daemon.alarms, "an alarm", 30.0)
        entered[evening.scan(studio.inbox / "SL-0412_L.tif", 1, "L")] += 1
        daemon.until_said("SL-0412_L.tif: L measured")
        begun = time.monotonic()
        daemon.service.stop.set()
        daemon.until(lambda: daemon.heard.said("stopped in order"), "its end")
        assert time.monotonic() - begun < 5
        assert daemon.service.still_moving(), "the thread is still held: the process has to end without it"
        share.heal()
        daemon.until(lambda: not daemon.service.still_moving(), "letting go")
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)


@contextmanager
def signs_of_life(folder: Path) -> Iterator[tuple[socket.socket, ServiceNotify]]:
    """A service manager that only listens."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(folder / "notify"))
        manager.settimeout(0.2)
        yield manager, ServiceNotify({"NOTIFY_SOCKET": str(folder / "notify")})


def heard(manager: socket.socket) -> str:
    try:
        return manager.recv(4096).decode()
    except TimeoutError:
        return ""


def silent(manager: socket.socket, seconds: float) -> bool:
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if heard(manager):
            return False
    return True
