"""Rows 2 to 9 and 13 of the fault table: disks that are full, failing, read-only, unmounted, or lose their power."""

from __future__ import annotations

import os
import resource
import subprocess
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest
from faults import evening
from faults.conftest import FaultyShare, Mounted
from faults.killing import Stage, points_of, sampled, stage
from real_disks import Disk, run

from dawnproof.ledger.ledger import Ledger
from dawnproof.storage import disk, moves
from dawnproof.storage.studio import Studio


def with_folder(tmp_path: Path, name: str, folder: Path, extra: str = "") -> Studio:
    """A studio one of whose folders lies elsewhere."""
    return evening.studio_at(tmp_path / "studio", f'[folders]\n{name} = "{folder}"\n{extra}')


def drop(studio: Studio, number: int = 1) -> Counter[str]:
    """A whole job."""
    return Counter([evening.scan(studio.inbox / f"SL-{number:04d}_whole.tif", number)])


def drop_nameless(studio: Studio, number: int = 50) -> Counter[str]:
    return Counter([evening.scan(studio.inbox / f"scan{number}.tif", number)])


# 2: the power


@pytest.mark.parametrize("step", range(2, 26, 5))
def test_power_cut(step: int, loop_disk: Disk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut just before a folder or file is made durable; what was finished stays finished."""
    studio = evening.studio_at(loop_disk.folder / "studio")
    entered = Counter(evening.scan(studio.inbox / f"SL-0412_{p}.tif", 1, p) for p in ("L", "R"))
    os.sync()
    real, count = os.fsync, 0

    class PowerCut(BaseException):
        """Nothing tidies up behind it."""

    def cutting(fd: int) -> None:
        nonlocal count
        count += 1
        if count == step:
            loop_disk.cut_power()
            raise PowerCut
        real(fd)

    monkeypatch.setattr(os, "fsync", cutting)
    cut = False
    try:
        evening.run_until_idle(studio.root)
    except (PowerCut, Exception):
        cut = True
    monkeypatch.undo()
    if not cut:
        pytest.skip(f"the evening has fewer than {step} such steps")
    loop_disk.power_up()
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
    settled = evening.state_of(studio)
    evening.run_until_idle(studio.root)
    assert evening.state_of(studio) == settled


# 3, 5: no room


@pytest.mark.parametrize(
    ("options", "more"), [("size=600k", "size=64m"), ("nr_inodes=6", "nr_inodes=1000")], ids=["bytes", "inodes"]
)
def test_a_full_target(options: str, more: str, tmp_path: Path, memory_disk: Mounted) -> None:
    """The scan stays in the inbox, one alarm, the other folders go on; with room again all goes on by itself."""
    archive = memory_disk(tmp_path / "archive", options)
    studio = with_folder(tmp_path, "archive", archive)
    with evening.Living(studio.root) as daemon:
        entered = drop(studio) + drop_nameless(studio)
        daemon.until(lambda: "make room" in daemon.alarms, "an alarm with the mend")
        daemon.until(lambda: (studio.unplaced / "scan50.tif").exists(), "the other target")
        daemon.rest(2.0)
        assert (studio.inbox / "SL-0001_whole.tif").exists()
        assert not list(archive.rglob("*.part"))
        alarms = [e.text for e in daemon.heard.events if e.kind == "alarm"]
        assert len(set(alarms)) == len(alarms) <= 2, "said once, not at every turn"
        subprocess.run(["mount", "-o", f"remount,{more}", str(archive)], check=True)
        daemon.until_filed("SL-0001")
        daemon.until_calm()
    evening.check_census(studio, entered)


def test_a_quota_of_the_share(tmp_path: Path, share: FaultyShare) -> None:
    (share.back / "rework").mkdir()
    studio = with_folder(tmp_path, "rework", share.mount / "rework")
    with evening.Living(studio.root) as daemon:
        share.fail("write EDQUOT", "create EDQUOT", "mkdir EDQUOT")
        entered = drop_nameless(studio)
        daemon.until(lambda: "make room within the quota" in daemon.alarms, "an alarm")
        assert (studio.inbox / "scan50.tif").exists()
        share.heal()
        daemon.until(lambda: (share.back / "rework" / "_unplaced" / "scan50.tif").exists(), "setting aside")
        daemon.until_calm()
    evening.check_census(studio, entered)


# 4: the ledger's own disk


def test_a_full_disk_under_the_ledger(tmp_path: Path, memory_disk: Mounted) -> None:
    """Nothing moves while the ledger cannot be written, and it is said."""
    studio = evening.studio_at(tmp_path / "studio")
    memory_disk(studio.private, "size=2m")
    studio.bench.mkdir()
    with evening.Living(studio.root) as daemon:
        daemon.rest(0.5)
        filler = studio.private / "filler"
        with filler.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space left"):
            file.writelines(b"x" * 4096 for _ in range(2000))
        entered = drop(studio)
        daemon.until(lambda: "the ledger cannot be used" in daemon.alarms, "an alarm")
        daemon.rest(1.0)
        assert (studio.inbox / "SL-0001_whole.tif").exists()
        assert not (studio.archive / "SL-0001").exists()
        filler.unlink()
        daemon.until_filed("SL-0001")
        daemon.until_calm()
    evening.check_census(studio, entered)


# 6: a scan that cannot be read


def test_a_scan_that_cannot_be_read_stays_and_is_named(tmp_path: Path, share: FaultyShare) -> None:
    (share.back / "inbox").mkdir()
    studio = with_folder(tmp_path, "inbox", share.mount / "inbox")
    digest = evening.scan(share.back / "inbox" / "SL-0001_whole.tif", 1)
    share.fail("read EIO")
    heard = evening.run_until_idle(studio.root)
    assert heard.said("SL-0001_whole.tif stays where it is")
    assert (share.back / "inbox" / "SL-0001_whole.tif").exists()
    assert "SL-0001_whole.tif" in (studio.unplaced / "REASONS.txt").read_text()
    assert evening.homes(studio) == ()
    share.heal()
    evening.run_until_idle(studio.root)
    evening.check_census(studio, Counter([digest]))
    reasons = studio.unplaced / "REASONS.txt"
    assert "SL-0001_whole.tif" not in reasons.read_text(), "what is mended is no longer named"


def test_a_disk_that_ends_early(tmp_path: Path, loop_disk: Disk) -> None:
    """Real read errors, as of a dying disk."""
    (loop_disk.folder / "inbox").mkdir()
    studio = with_folder(tmp_path, "inbox", loop_disk.folder / "inbox")
    for number in range(1, 25):
        evening.scan(studio.inbox / f"SL-{number:04d}_whole.tif", number)
    os.sync()
    loop_disk.lose_all_behind(6)
    heard = evening.run_until_idle(studio.root)
    ledger = Ledger.read(studio.ledger_path)
    named = {Path(row.path).name for row in ledger.staying()}
    ledger.close()
    assert named
    assert any(e.kind == "stays" for e in heard.events)
    known = named | {row.file for row in evening.homes(studio)}
    assert len(known) == 24, "each is either filed or named"


# 7, 8, 9: errors of the system, anywhere in an evening


@pytest.fixture(scope="module")
def player(remembered: Path) -> Iterator[Stage]:
    with stage(remembered) as made:
        yield made


ERRORS = [("fsync", "EIO"), ("write", "ENOSPC"), ("pwrite64", "EIO"), ("renameat2", "EROFS"), ("unlink", "EACCES"),
          ("mkdir", "ENOSPC"), ("openat", "EMFILE"), ("rename", "EIO")]  # fmt: skip


def busy_studio(root: Path) -> tuple[Studio, Counter[str]]:
    studio = evening.studio_at(root)
    halves = Counter(evening.scan(studio.inbox / f"SL-0412_{p}.tif", 1, p) for p in ("L", "R"))
    return studio, halves + drop_nameless(studio)


@pytest.fixture(scope="module")
def calls(player: Stage, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The system calls of an evening without faults."""
    folder = tmp_path_factory.mktemp("calls")
    studio, _ = busy_studio(folder / "studio")
    names = ",".join(call for call, _ in ERRORS)
    assert player.play(studio.root, "watch", folder / "log", "-e", f"trace={names}") == 0
    return folder / "log"


@pytest.mark.parametrize(("call", "error"), ERRORS)
def test_errors_of_the_system(call: str, error: str, tmp_path: Path, player: Stage, calls: Path, sweep: bool) -> None:
    """One call fails, or three in a row; the evening goes on, or is finished by the next start."""
    numbers = [p.number for p in points_of(calls, (call,))]
    begin = len(numbers) // 2 if call == "openat" else 1  # the first half finds libraries
    for turn, number in enumerate(sampled(numbers[begin:], 40 if sweep else 2, offset=3)):
        studio, entered = busy_studio(tmp_path / f"studio{turn}")
        times = f"{number}..{number + 2}" if turn % 2 else str(number)
        player.play(studio.root, "watch", Path("/dev/null"), "-e", f"trace={call}",
                    "-e", f"inject={call}:error={error}:when={times}")  # fmt: skip
        assert not [d for d in entered if not evening.everywhere(studio)[d]], f"lost at {call} {times}"
        evening.run_until_idle(studio.root)
        evening.check_census(studio, entered)


def test_a_read_only_target(tmp_path: Path, loop_disk: Disk) -> None:
    archive = loop_disk.folder / "archive"
    archive.mkdir()
    studio = with_folder(tmp_path, "archive", archive)
    run("mount", "-o", "remount,ro", str(loop_disk.folder))
    with evening.Living(studio.root) as daemon:
        entered = drop(studio)
        daemon.until(lambda: "read-only" in daemon.alarms, "an alarm with the reason")
        assert (studio.inbox / "SL-0001_whole.tif").exists()
        run("mount", "-o", "remount,rw", str(loop_disk.folder))
        daemon.until_filed("SL-0001")
        daemon.until_calm()
    evening.check_census(studio, entered)


def test_a_target_nobody_may_write_to(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    run("chattr", "+i", str(studio.archive))
    try:
        with evening.Living(studio.root) as daemon:
            entered = drop(studio)
            daemon.until(lambda: "the right to write there" in daemon.alarms, "an alarm with the mend")
            assert (studio.inbox / "SL-0001_whole.tif").exists()
            run("chattr", "-i", str(studio.archive))
            daemon.until_filed("SL-0001")
            daemon.until_calm()
    finally:
        subprocess.run(["chattr", "-i", str(studio.archive)], check=False, capture_output=True)
    evening.check_census(studio, entered)


def test_no_descriptors_left(tmp_path: Path) -> None:
    """Retried later, no crash, nothing given up."""
    studio = evening.studio_at(tmp_path / "studio")
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    with evening.Living(studio.root) as daemon:
        daemon.rest(0.5)
        resource.setrlimit(resource.RLIMIT_NOFILE, (3, hard))
        try:
            daemon.rest(1.5)
        finally:
            resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        entered = drop(studio)
        daemon.until_filed("SL-0001")
        daemon.until_calm()
    evening.check_census(studio, entered)


# 13: the target's disk is not there


@pytest.mark.parametrize("name", ["archive", "rework", "proof"])
def test_an_unmounted_target(name: str, tmp_path: Path, memory_disk: Mounted) -> None:
    """Nothing is written into the bare mount point, not even after a restart; said within five seconds."""
    place = tmp_path / name
    memory_disk(place)
    aside = tmp_path / "aside"
    aside.mkdir()
    run("mount", "--bind", str(place), str(aside))
    studio = with_folder(tmp_path, name, place)
    try:
        with evening.Living(studio.root) as daemon:
            daemon.rest(0.5)
            run("umount", "-l", str(place))
            assert daemon.until(lambda: "its disk is not mounted" in daemon.alarms, "an alarm") < 5.0
            entered = drop(studio) + drop_nameless(studio)
            daemon.until(lambda: daemon.heard.said("SL-0001_whole.tif: whole measured"), "measuring")
            daemon.rest(1.5)
        heard = evening.run_until_idle(studio.root)
        assert heard.said("its disk is not mounted"), "known at the next start too"
        assert list(place.iterdir()) == [], "the mount point is as bare as it was"
        run("mount", "--bind", str(aside), str(place))
        evening.run_until_idle(studio.root)
        evening.check_census(studio, entered)
        assert (studio.archive / "SL-0001").is_dir()
    finally:
        subprocess.run(["umount", "-l", str(aside)], check=False, capture_output=True)


# an end in the middle of a copy; room that will not last


def test_stopped_in_the_middle_of_a_copy(tmp_path: Path, memory_disk: Mounted, monkeypatch: pytest.MonkeyPatch) -> None:
    """The copy is broken off, nothing of it is left, the scan is where it was; the next start takes it again."""
    archive = memory_disk(tmp_path / "archive")
    studio = with_folder(tmp_path, "archive", archive)
    monkeypatch.setattr(moves, "BLOCK_BYTES", 4096)
    with evening.Living(studio.root) as daemon:
        monkeypatch.setattr(moves, "write_all", stopping(daemon))
        entered = drop(studio)
        daemon.until(daemon.service.stop.is_set, "the stop")
    monkeypatch.undo()
    assert (studio.inbox / "SL-0001_whole.tif").exists()
    assert not list(archive.rglob("*.part"))
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
    assert (archive / "SL-0001").is_dir()


def stopping(daemon: evening.Living) -> Callable[[int, memoryview], None]:
    def write(fd: int, data: memoryview) -> None:
        disk.write_all(fd, data)
        if len(data) == 4096:  # of a scan; small files are written whole
            daemon.service.stop.set()

    return write


def test_a_disk_that_will_not_last_the_night_is_said_before(tmp_path: Path, memory_disk: Mounted) -> None:
    archive = memory_disk(tmp_path / "archive", "size=8m")
    studio = with_folder(tmp_path, "archive", archive)
    late = datetime(2026, 11, 24, 22, 0).astimezone()
    with evening.Living(studio.root, local_time=lambda: late) as daemon:
        daemon.rest(0.5)
        assert not daemon.alarms
    drop(studio)
    evening.run_until_idle(studio.root)
    with evening.Living(studio.root, local_time=lambda: late) as daemon:
        daemon.until(lambda: "before the morning: make room" in daemon.alarms, "a warning")
