"""Moves: every state a crash can leave, every refusal, every system call as the last one."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from dawnproof.errors import BrokenOff, MoveError
from dawnproof.model import Identity
from dawnproof.storage import disk, moves
from dawnproof.storage.moves import Step, copy, make_folder, move, remove_stale_parts, write_beside

HERE = Path(__file__).parent
DATA = bytes(range(256)) * 300
SHA = hashlib.sha256(DATA).hexdigest()
CHANGING_CALLS = (
    "write", "pwrite64", "fsync", "renameat2", "rename", "link", "linkat", "unlink", "unlinkat", "openat",
    "utimensat", "close",
)  # fmt: skip


@pytest.fixture
def elsewhere(tmp_path: Path) -> Iterator[Path]:
    """A folder on another file system than tmp_path."""
    memory = Path("/dev/shm")
    if not memory.is_dir() or memory.stat().st_dev == tmp_path.stat().st_dev:
        pytest.skip("no second file system at /dev/shm")
    folder = Path(tempfile.mkdtemp(dir=memory))
    yield folder
    shutil.rmtree(folder)


@pytest.fixture(params=["one file system", "across file systems"])
def places(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, Path]:
    """Source with its bytes, and target, not there yet."""
    target_root = tmp_path if request.param == "one file system" else request.getfixturevalue("elsewhere")
    (tmp_path / "inbox").mkdir()
    (target_root / "archive").mkdir()
    source = tmp_path / "inbox" / "SL-0412_L.tif"
    source.write_bytes(DATA)
    return source, target_root / "archive" / "SL-0412_L.tif"


def part_of(target: Path) -> Path:
    return target.parent / f".{SHA[:16]}.part"


def assert_moved(source: Path, target: Path) -> None:
    assert not source.exists()
    assert target.read_bytes() == DATA
    assert list(target.parent.iterdir()) == [target], "nothing else is left there"


def test_a_move_is_told_and_done(places: tuple[Path, Path]) -> None:
    source, target = places
    steps: list[Step] = []
    done = move(source, target, SHA, steps.append)
    assert_moved(source, target)
    assert done.sha256 == SHA
    assert done.identity == Identity.of(target.stat())
    assert steps[-1] is Step.MOVED
    assert move(source, target, SHA) == done, "a second call changes nothing"


def test_times_survive(places: tuple[Path, Path]) -> None:
    source, target = places
    os.utime(source, ns=(10**18, 10**18 + 12345))
    move(source, target, SHA)
    assert target.stat().st_mtime_ns == 10**18 + 12345


@pytest.mark.parametrize("part", [None, b"", DATA[:1000], DATA, b"other"])
@pytest.mark.parametrize("source_there", [True, False])
@pytest.mark.parametrize("target_there", [True, False])
def test_every_state_a_crash_can_leave_is_finished(
    places: tuple[Path, Path], part: bytes | None, source_there: bool, target_there: bool
) -> None:
    source, target = places
    if part is not None:
        part_of(target).write_bytes(part)
    if target_there:
        target.write_bytes(DATA)
    if not source_there:
        source.unlink()
    if not source_there and not target_there:
        with pytest.raises(MoveError, match="is not there either"):
            move(source, target, SHA)
        return
    move(source, target, SHA)
    remove_stale_parts(target.parent)
    assert_moved(source, target)


def test_another_file_at_the_target_is_never_touched(places: tuple[Path, Path]) -> None:
    source, target = places
    for content in (b"something else", b""):
        target.write_bytes(content)
        for act in (move, copy):
            with pytest.raises(MoveError, match="another file stands at"):
                act(source, target, SHA)
        assert (source.read_bytes(), target.read_bytes()) == (DATA, content)
    source.unlink()
    with pytest.raises(MoveError, match="another file stands at"):
        move(source, target, SHA)


def test_a_changed_source_is_not_moved(places: tuple[Path, Path]) -> None:
    source, target = places
    source.write_bytes(DATA + b"!")
    with pytest.raises(MoveError, match="changed since it was checked"):
        move(source, target, SHA)
    assert source.read_bytes() == DATA + b"!"
    assert list(target.parent.iterdir()) == []


def test_a_new_scan_under_the_old_name_is_left_alone(places: tuple[Path, Path]) -> None:
    """Killed between copy and unlink, then the scanner wrote again: the old move is finished, the new scan stays."""
    source, target = places
    target.write_bytes(DATA)
    source.write_bytes(b"a new scan")
    steps: list[Step] = []
    move(source, target, SHA, steps.append)
    assert steps[-1] is Step.NEWER
    assert (source.read_bytes(), target.read_bytes()) == (b"a new scan", DATA)


def test_a_source_that_changes_while_it_is_copied_is_kept(
    elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, target = tmp_path / "a.tif", elsewhere / "a.tif"
    source.write_bytes(DATA)

    def rename_then_append(old: Path, new: Path) -> None:
        disk.rename_noreplace(old, new)
        with source.open("ab") as file:
            file.write(b"more")

    monkeypatch.setattr(moves, "rename_noreplace", rename_then_append)
    steps: list[Step] = []
    move(source, target, SHA, steps.append)
    assert (steps[-1], source.read_bytes(), target.read_bytes()) == (Step.NEWER, DATA + b"more", DATA)


def test_a_rename_with_the_known_identity_reads_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source, target = tmp_path / "a.tif", tmp_path / "b.tif"
    source.write_bytes(DATA)
    known = disk.digest(source).identity
    monkeypatch.setattr(moves, "digest", lambda path, read: pytest.fail("read again"))
    move(source, target, SHA, known=known)
    assert_moved(source, target)


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EDQUOT, errno.EIO])
def test_a_full_or_failing_target_leaves_the_source_and_no_rest(
    elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    source, target = tmp_path / "a.tif", elsewhere / "a.tif"
    source.write_bytes(DATA)
    written = []

    def failing(fd: int, data: memoryview) -> None:
        written.append(len(data))
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(moves, "write_all", failing)
    with pytest.raises(MoveError, match=r"; .+"):
        move(source, target, SHA)
    assert source.read_bytes() == DATA
    assert list(elsewhere.iterdir()) == []
    assert len(written) == (2 if code == errno.EIO else 1)


def test_a_failed_fsync_is_answered_by_writing_anew(
    elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Never fsync again: the second success may be a lie about pages already dropped."""
    source, target = tmp_path / "a.tif", elsewhere / "a.tif"
    source.write_bytes(DATA)
    synced: list[int] = []
    real = os.fsync

    def failing_once(fd: int) -> None:
        synced.append(os.fstat(fd).st_ino)
        if len(synced) == 1:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        real(fd)

    monkeypatch.setattr(os, "fsync", failing_once)
    move(source, target, SHA)
    assert_moved(source, target)
    assert target.stat().st_ino == synced[1] != synced[0]


def test_what_the_scan_program_wrote_and_the_disk_lost_is_written_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On one file system a rename would do, but the scan's own fsync fails: it is never asked again, not at a second
    attempt either; the scan is copied from what can still be read, and the copy made durable."""
    source, target = tmp_path / "inbox" / "a.tif", tmp_path / "archive" / "a.tif"
    for path in (source, target):
        path.parent.mkdir()
    source.write_bytes(DATA)
    scan = source.stat().st_ino
    asked: list[int] = []
    real = os.fsync

    def failing(fd: int) -> None:
        number = os.fstat(fd).st_ino
        asked.append(number)
        if number == scan or len(asked) == 2:  # the scan, and the first attempt at its copy
            raise OSError(errno.EIO if number == scan else errno.ENOSPC, "refused")
        real(fd)

    monkeypatch.setattr(os, "fsync", failing)
    with pytest.raises(MoveError, match="refused"):
        move(source, target, SHA)
    assert source.read_bytes() == DATA
    assert list(target.parent.iterdir()) == []
    move(source, target, SHA)
    assert_moved(source, target)
    assert asked.count(scan) == 1
    assert target.stat().st_ino in asked, "the copy was made durable"
    assert target.stat().st_ino != scan


def test_a_large_copy_is_forced_to_disk_as_it_grows(
    elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An error shows in the middle, and is answered by writing anew; a stop is obeyed between the blocks."""
    source, target = tmp_path / "a.tif", elsewhere / "a.tif"
    source.write_bytes(DATA)
    monkeypatch.setattr(moves, "BLOCK_BYTES", 10_000)
    monkeypatch.setattr(moves, "SYNC_BYTES", 20_000)
    synced: list[int] = []

    def failing_once(fd: int) -> None:
        synced.append(os.fstat(fd).st_size)
        if len(synced) == 2:
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(os, "fdatasync", failing_once)
    move(source, target, SHA)
    assert_moved(source, target)
    assert synced == [20_000, 40_000, 20_000, 40_000, 60_000]


def test_a_move_can_be_broken_off_at_every_block_that_is_read(
    places: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Proving, copying, reading back, looking once more: nothing is lost, nothing is left, the next attempt ends it."""
    source, target = places
    for module in (moves, disk):
        monkeypatch.setattr(module, "BLOCK_BYTES", 10_000)
    broken_off = 0
    for last in range(1, 60):
        asked = 0

        def proceed(last: int = last) -> None:
            nonlocal asked
            asked += 1
            if asked == last:
                raise BrokenOff("later")

        try:
            move(source, target, SHA, proceed=proceed)
        except BrokenOff:
            broken_off += 1
            assert DATA in [p.read_bytes() for p in (source, target) if p.exists()]
            assert not part_of(target).exists()
        else:
            break
    assert broken_off >= 8
    assert_moved(source, target)


def test_a_copy_that_reads_back_differently_is_thrown_away(
    elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, target = tmp_path / "a.tif", elsewhere / "a.tif"
    source.write_bytes(DATA)
    monkeypatch.setattr(moves, "write_all", lambda fd, data: disk.write_all(fd, memoryview(bytes(len(data)))))
    with pytest.raises(MoveError, match="reads back differently"):
        move(source, target, SHA)
    assert source.read_bytes() == DATA
    assert list(elsewhere.iterdir()) == []


@pytest.mark.parametrize("code", [errno.EINVAL, errno.ENOSYS])
def test_without_renameat2_a_link_does_it(
    places: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    source, target = places
    monkeypatch.setattr(disk, "_renameat2", lambda old, new: code)
    move(source, target, SHA)
    assert_moved(source, target)
    other = target.parent / "other.tif"
    other.write_bytes(b"x")
    with pytest.raises(FileExistsError):
        disk.rename_noreplace(other, target)
    assert (other.read_bytes(), target.read_bytes()) == (b"x", DATA)


def test_killed_between_link_and_unlink(tmp_path: Path) -> None:
    source, target = tmp_path / "a.tif", tmp_path / "b.tif"
    source.write_bytes(DATA)
    os.link(source, target)
    move(source, target, SHA)
    assert_moved(source, target)


def test_a_file_is_never_moved_onto_itself(tmp_path: Path) -> None:
    """Under two names of one folder, unlinking 'the source' would remove the only copy."""
    (tmp_path / "inbox").mkdir()
    (tmp_path / "same").symlink_to(tmp_path / "inbox")
    source = tmp_path / "inbox" / "a.tif"
    source.write_bytes(DATA)
    with pytest.raises(MoveError, match="the same file"):
        move(source, tmp_path / "same" / "a.tif", SHA)
    assert source.read_bytes() == DATA


def test_links_and_fifos_are_refused_and_not_waited_for(places: tuple[Path, Path]) -> None:
    source, target = places
    source.rename(source.parent / "real.tif")
    source.symlink_to(source.parent / "real.tif")
    with pytest.raises(MoveError):
        move(source, target, SHA)
    source.unlink()
    os.mkfifo(source)
    with pytest.raises(MoveError):
        move(source, target, SHA)
    assert list(target.parent.iterdir()) == []


def test_a_missing_folder_is_named_with_its_mend(tmp_path: Path) -> None:
    source = tmp_path / "a.tif"
    source.write_bytes(DATA)
    with pytest.raises(MoveError, match="make the folder, or mount its disk"):
        move(source, tmp_path / "none" / "a.tif", SHA)
    assert source.read_bytes() == DATA


def test_a_name_of_255_bytes_can_be_moved(places: tuple[Path, Path]) -> None:
    source, target = places
    target = target.parent / ("é" * 125 + "a.tif")
    assert len(os.fsencode(target.name)) == 255
    move(source, target, SHA)
    assert target.read_bytes() == DATA


def test_a_copy_leaves_the_source_and_may_be_repeated(places: tuple[Path, Path]) -> None:
    source, target = places
    part_of(target).write_bytes(b"rest of an interrupted copy")
    assert copy(source, target, SHA) == copy(source, target, SHA)
    assert source.read_bytes() == target.read_bytes() == DATA
    assert list(target.parent.iterdir()) == [target]


def test_small_files_are_written_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "record.json"
    write_beside(path, b"one")
    write_beside(path, b"one")
    with pytest.raises(MoveError, match="another file stands at"):
        write_beside(path, b"two")
    assert path.read_bytes() == b"one"
    write_beside(path, b"two", replace=True)
    assert path.read_bytes() == b"two"
    assert list(tmp_path.iterdir()) == [path]
    with pytest.raises(MoveError, match="make the folder"):
        write_beside(tmp_path / "none" / "x", b"")


def test_only_our_own_rests_are_tidied(tmp_path: Path) -> None:
    kept = [".0123456789abcdef.part.tif", ".0123.part", "0123456789abcdef.part", ".0123456789ABCDEF.part"]
    for name in (*kept, ".0123456789abcdef.part"):
        (tmp_path / name).write_bytes(b"")
    (tmp_path / ".aaaaaaaaaaaaaaaa.part").symlink_to(tmp_path / kept[0])
    (tmp_path / ".bbbbbbbbbbbbbbbb.part").mkdir()
    assert remove_stale_parts(tmp_path) == (tmp_path / ".0123456789abcdef.part",)
    assert len(list(tmp_path.iterdir())) == 6


def test_folders_are_made_with_their_parents(tmp_path: Path) -> None:
    make_folder(tmp_path / "a" / "b" / "c")
    make_folder(tmp_path / "a" / "b" / "c")
    assert (tmp_path / "a" / "b" / "c").is_dir()
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(MoveError, match="rename it"):
        make_folder(tmp_path / "file" / "x")


def traced(source: Path, target: Path, *inject: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        ["strace", "-f", "-qq", *inject, sys.executable, str(HERE / "moving_child.py"), str(source), str(target), SHA],
        env=os.environ | {"PYTHONPATH": str(HERE.parent.parent / "daemon"), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True, timeout=60, check=False,
    )  # fmt: skip


def calls_of_a_move(source: Path, target: Path, log: Path) -> list[tuple[str, int]]:
    """System calls from the first that names the source to the end: each with its number among its kind."""
    traced(source, target, "-o", str(log), "-e", f"trace={','.join(CHANGING_CALLS)}")
    seen = dict.fromkeys(CHANGING_CALLS, 0)
    found, begun = [], False
    for line in log.read_text(errors="replace").splitlines():
        call = line.split(None, 1)[1].split("(")[0] if line[:1].isdigit() else line.split("(")[0]
        if call in seen:
            seen[call] += 1
            begun = begun or (call == "openat" and f'"{source}"' in line)
            if begun:
                found.append((call, seen[call]))
    return found


def test_killed_at_system_calls(places: tuple[Path, Path], tmp_path: Path, sweep: bool) -> None:
    """At the instant of death the bytes exist under a name at least once; the next call finishes, nothing twice."""
    if shutil.which("strace") is None:
        pytest.skip("strace is not installed: kills at system calls cannot be injected")
    source, target = places
    calls = calls_of_a_move(source, target, tmp_path / "strace.log")
    if not calls:
        pytest.skip("strace may not trace here (ptrace refused)")
    assert_moved(source, target)
    assert {"fsync", "renameat2"} <= {call for call, _ in calls}
    sample = calls if sweep else calls[:: max(1, len(calls) // 12)]
    killed = 0
    for call, number in sample:
        target.unlink(missing_ok=True)
        source.write_bytes(DATA)
        done = traced(source, target, "-o", "/dev/null", "-e", f"inject={call}:signal=KILL:when={number}")
        killed += done.returncode != 0
        alive = [path for path in (source, target) if path.exists() and path.read_bytes() == DATA]
        assert alive, f"lost at {call} {number}"
        if target.exists():
            assert target.read_bytes() == DATA, f"half a file under the target's name at {call} {number}"
        move(source, target, SHA)
        remove_stale_parts(target.parent)
        assert_moved(source, target)
    print(f"killed at {killed} of {len(sample)} calls sampled from {len(calls)}")
    assert killed >= len(sample) - 2


@pytest.mark.parametrize(
    "fault", ["fsync:error=EIO:when=1", "renameat2:error=EROFS:when=1", "unlink:error=EACCES:when=1"]
)
def test_system_errors_leave_the_source_or_finish(places: tuple[Path, Path], fault: str) -> None:
    if shutil.which("strace") is None:
        pytest.skip("strace is not installed: errors of system calls cannot be injected")
    source, target = places
    traced(source, target, "-o", "/dev/null", "-e", f"inject={fault}:when=1")
    assert [path for path in (source, target) if path.exists() and path.read_bytes() == DATA]
    move(source, target, SHA)
    remove_stale_parts(target.parent)
    assert_moved(source, target)
