"""The gate, question by question, then with real writers: nothing passes half-written, everything whole passes."""

from __future__ import annotations

import errno
import fcntl
import mmap
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import tifffile

from dawnproof.storage.whole import bytes_in_holes, check_structure
from dawnproof.watch.gate import Gate, Lease, Passage, WholeChecks, ignore_lease_breaks, lease, left_alone, pass_gate
from dawnproof.watch.settle import Patience, Watched

LEAVE = ("*.ini", "*.xml", "*.db", "*.log", "*.jpg")
CHECKS = WholeChecks(check_structure, bytes_in_holes)
PATIENCE = Patience(settle_s=10.0, give_up_s=1800.0)


@pytest.fixture(autouse=True)
def _no_sigio() -> Iterator[None]:
    before = signal.getsignal(signal.SIGIO)
    ignore_lease_breaks()
    yield
    signal.signal(signal.SIGIO, before)


class Clock:
    """Looks at one path again and again, each look at a stated second."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.watched: Watched | None = None

    def look(self, now_s: float) -> Passage:
        passage = pass_gate(self.path, self.watched, now_s, PATIENCE, LEAVE, CHECKS)
        self.watched = passage.watched
        return passage

    def settled(self, from_s: float = 0.0) -> Passage:
        self.look(from_s)
        return self.look(from_s + 31.0)


def scan(path: Path, **options: object) -> Path:
    pixels = np.random.default_rng(1).integers(1, 65535, (300, 200, 3), "u2")
    tifffile.imwrite(path, pixels, **{"photometric": "rgb", "rowsperstrip": 10, **options})  # type: ignore[arg-type]
    return path


def test_a_whole_scan_passes_once_it_has_settled(tmp_path: Path) -> None:
    clock = Clock(scan(tmp_path / "a.tif"))
    first = clock.look(0.0)
    assert first.gate is Gate.WAIT
    assert "changed 0 s ago" in first.reason
    assert clock.look(5.0).gate is Gate.WAIT
    assert clock.look(10.5).gate is Gate.OPEN


@pytest.mark.parametrize(
    ("name", "left"),
    [
        (".hidden.tif", True), ("a.tif.part", True), ("a.TMP", True), ("a.tif~", True), ("~$a.tif", True),
        ("Thumbs.db", True), ("scan.LOG", True), ("preview.JPG", True), (".a.tif.Xq12Zz", True),
        ("a.tif", False), ("a.png", False), ("part.tif", False), ("a.tif.parts", False),
    ],
)  # fmt: skip
def test_names_left_alone(name: str, left: bool) -> None:
    assert bool(left_alone(name, LEAVE)) == left


def test_what_is_never_touched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = scan(tmp_path / "real.tif")
    (tmp_path / "link.tif").symlink_to(real)
    (tmp_path / "dangling.tif").symlink_to(tmp_path / "none")
    os.mkfifo(tmp_path / "fifo.tif")
    with socket.socket(socket.AF_UNIX) as listener:
        monkeypatch.chdir(tmp_path)  # the path of a socket is short
        listener.bind("s.tif")
    for name, word in (("link.tif", "link"), ("dangling.tif", "link"), ("fifo.tif", "FIFO"), ("s.tif", "socket")):
        passage = Clock(tmp_path / name).settled()
        assert passage.gate is Gate.NEVER_TOUCHED, name
        assert word in passage.reason
    assert Clock(Path("/dev/null")).settled().gate is Gate.NEVER_TOUCHED
    assert Clock(tmp_path).settled().gate is Gate.FOLDER
    assert Clock(tmp_path / "none.tif").settled().gate is Gate.GONE


def test_hard_links_are_judged_only_when_they_stay(tmp_path: Path) -> None:
    path = scan(tmp_path / "a.tif")
    os.link(path, tmp_path / "b")
    clock = Clock(path)
    assert clock.look(0.0).gate is Gate.WAIT
    assert clock.look(31.0).gate is Gate.NEVER_TOUCHED
    (tmp_path / "b").unlink()
    assert clock.settled(40.0).gate is Gate.OPEN


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read_is_named(tmp_path: Path) -> None:
    path = scan(tmp_path / "a.tif")
    path.chmod(0)
    passage = Clock(path).settled()
    assert passage.gate is Gate.NEVER_TOUCHED
    assert "permissions" in passage.reason


def test_a_foreign_format_is_no_scan_at_once(tmp_path: Path) -> None:
    (tmp_path / "a.tif").write_bytes(b"P6 10 10 255\n" + bytes(300))
    passage = Clock(tmp_path / "a.tif").settled()
    assert passage.gate is Gate.NOT_A_SCAN
    assert "not a TIFF" in passage.reason


def test_half_a_file_waits_and_is_damaged_in_the_end(tmp_path: Path) -> None:
    path = scan(tmp_path / "a.tif")
    os.truncate(path, path.stat().st_size // 2)
    clock = Clock(path)
    passage = clock.settled()
    assert passage.gate is Gate.WAIT
    assert "cut off" in passage.reason
    assert clock.look(1700.0).gate is Gate.WAIT
    assert clock.look(1801.0).gate is Gate.DAMAGED


def lease_of(path: Path) -> Lease:
    fd = os.open(path, os.O_RDONLY)
    try:
        return lease(fd)
    finally:
        os.close(fd)


def can_lease(folder: Path) -> None:
    probe = folder / "probe"
    probe.write_bytes(b"x")
    if lease_of(probe) is Lease.UNKNOWN:
        pytest.skip("this file system gives no leases")
    probe.unlink()


def test_an_open_writer_is_seen_and_not_hindered(tmp_path: Path) -> None:
    can_lease(tmp_path)
    path = scan(tmp_path / "a.tif")
    assert lease_of(path) is Lease.FREE
    with path.open("r+b"):
        assert lease_of(path) is Lease.HELD
        clock = Clock(path)
        assert clock.settled().reason == Lease.HELD.value
        assert clock.look(5000.0).gate is Gate.WAIT, "held is never given up"
    begun = time.monotonic()
    with path.open("r+b"):
        pass
    assert time.monotonic() - begun < 0.5, "no lease is left behind that would block a writer"
    assert clock.look(5001.0).gate is Gate.OPEN


def test_a_mapped_writer_is_seen_after_its_descriptor_is_closed(tmp_path: Path) -> None:
    can_lease(tmp_path)
    path = scan(tmp_path / "a.tif")
    fd = os.open(path, os.O_RDWR)
    mapped = mmap.mmap(fd, 0)
    os.close(fd)
    assert lease_of(path) is Lease.HELD
    mapped.close()
    assert lease_of(path) is Lease.FREE


@pytest.mark.parametrize("reserve", ["ftruncate", "fallocate"])
def test_reserved_but_unwritten_space_is_seen(tmp_path: Path, reserve: str) -> None:
    whole = scan(tmp_path / "whole.tif").read_bytes()
    path = tmp_path / "a.tif"
    with path.open("wb") as file:
        (os.ftruncate if reserve == "ftruncate" else lambda fd, size: os.posix_fallocate(fd, 0, size))(
            file.fileno(), len(whole)
        )
        file.write(whole[: len(whole) // 2])
        file.flush()
        os.fsync(file.fileno())
    if bytes_in_holes(path) == 0:
        pytest.skip("this file system does not tell holes")
    passage = Clock(path).settled()
    assert passage.gate is Gate.WAIT
    assert "never written" in passage.reason
    path.write_bytes(whole)
    assert Clock(path).settled().gate is Gate.OPEN


def test_holes_between_strips_are_no_matter(tmp_path: Path) -> None:
    path = scan(tmp_path / "a.tif")
    with path.open("ab") as file:
        file.truncate(path.stat().st_size + (1 << 20))
    assert bytes_in_holes(path) == 0
    assert Clock(path).settled().gate is Gate.OPEN


def test_a_change_during_the_look_is_noticed(tmp_path: Path) -> None:
    path = scan(tmp_path / "a.tif")

    def touching(checked: Path) -> object:
        os.utime(checked, ns=(1, 1))
        return check_structure(checked)

    checks = WholeChecks(touching, bytes_in_holes)
    watched = pass_gate(path, None, 0.0, PATIENCE, LEAVE, checks).watched
    passage = pass_gate(path, watched, 31.0, PATIENCE, LEAVE, checks)
    assert (passage.gate, passage.reason) == (Gate.WAIT, "it changed while it was looked at")


WRITERS = {
    "slow": """
with open(path, "wb") as file:
    for start in range(0, len(data), len(data) // 6 + 1):
        file.write(data[start:start + len(data) // 6 + 1]); file.flush(); step()
""",
    "preallocating": """
with open(path, "wb") as file:
    os.posix_fallocate(file.fileno(), 0, len(data)); step()
    for start in range(0, len(data), len(data) // 5 + 1):
        file.write(data[start:start + len(data) // 5 + 1]); file.flush(); step()
""",
    "reopening": """
for start in range(0, len(data), len(data) // 4 + 1):
    with open(path, "ab") as file:
        file.write(data[start:start + len(data) // 4 + 1])
    step()
""",
    "header last": """
with open(path, "wb") as file:
    file.write(bytes(8) + data[8:]); file.flush(); step()
    file.seek(0); file.write(data[:8]); file.flush(); step()
""",
    "temporary then renamed": """
hidden = os.path.join(os.path.dirname(path), ".incoming")
with open(hidden, "wb") as file:
    file.write(data); file.flush(); step()
os.rename(hidden, path); step()
""",
    "three pages": """
import io, tifffile
with tifffile.TiffWriter(path) as writer:
    for page in range(3):
        writer.write(tifffile.imread(io.BytesIO(data)), photometric="rgb", rowsperstrip=10); step()
""",
}
CHILD = """
import os, sys
path, data = sys.argv[1], open(sys.argv[2], "rb").read()
def step():
    print("step", flush=True)
    if not sys.stdin.readline():
        sys.exit(0)
"""


def steps_of(writer: str, path: Path, source: Path) -> Iterator[None]:
    """A writer in a process of its own, halted after each step of its work."""
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD + writer, str(path), str(source)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        while child.stdout.readline():
            yield
            child.stdin.write("\n")
            child.stdin.flush()
        child.wait(10)
    finally:
        child.kill()
        child.wait()
        child.stdin.close()
        child.stdout.close()


@pytest.mark.parametrize("name", list(WRITERS))
def test_no_writer_passes_before_it_has_ended(tmp_path: Path, name: str) -> None:
    """Looked at while halted at each step for minutes, as if it had stalled: never open; open at the end."""
    can_lease(tmp_path)
    source = scan(tmp_path / "source")
    (tmp_path / "inbox").mkdir()
    clock, now_s, steps = Clock(tmp_path / "inbox" / "a.tif"), 0.0, 0
    for _ in steps_of(WRITERS[name], clock.path, source):
        steps += 1
        whole = clock.path.exists() and clock.path.stat().st_size >= source.stat().st_size
        for _ in range(3):
            now_s += 40.0
            gate = clock.look(now_s).gate
            finished = whole and name in ("temporary then renamed", "reopening") and gate is Gate.OPEN
            assert gate in (Gate.WAIT, Gate.GONE) or finished, (name, steps, gate)
    assert steps >= 2
    assert clock.settled(now_s + 1).gate is Gate.OPEN


def test_a_killed_writer_waits_and_its_second_attempt_passes(tmp_path: Path) -> None:
    source = scan(tmp_path / "source")
    clock = Clock(tmp_path / "a.tif")
    for steps, _ in enumerate(steps_of(WRITERS["slow"], clock.path, source)):
        if steps == 3:
            break  # leaving the loop kills it
    assert clock.settled().gate is Gate.WAIT
    shutil.copyfile(source, clock.path)
    assert clock.settled(100.0).gate is Gate.OPEN


@pytest.mark.parametrize("command", [["cp"], ["cp", "-p"], ["rsync"], ["rsync", "--inplace"], ["mv"]])
def test_copies_by_common_programs_pass(tmp_path: Path, command: list[str]) -> None:
    if shutil.which(command[0]) is None:
        pytest.skip(f"{command[0]} is not installed")
    source = scan(tmp_path / "source")
    (tmp_path / "inbox").mkdir()
    target = tmp_path / "inbox" / "a.tif"
    subprocess.run([*command, str(source), str(target)], check=True)
    assert Clock(target).settled().gate is Gate.OPEN
    assert [path.name for path in target.parent.iterdir()] == ["a.tif"]


@pytest.mark.parametrize(
    ("code", "answer"),
    [
        (errno.EAGAIN, Lease.HELD),  # a writer has it open
        (errno.EACCES, Lease.UNKNOWN),  # the file of another user
        (errno.EINVAL, Lease.UNKNOWN),  # a file system without leases
        (errno.ENOLCK, Lease.UNKNOWN),
    ],
)
def test_what_the_kernel_refuses_is_unknown_not_free(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, answer: Lease
) -> None:
    def refusing(fd: int, command: int, value: int = 0) -> int:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(fcntl, "fcntl", refusing)
    path = scan(tmp_path / "a.tif")
    assert lease_of(path) is answer
    passage = Clock(path).look(0.0)
    assert passage.gate is Gate.WAIT
    clock = Clock(path)
    clock.look(0.0)
    assert clock.look(11.0).gate is Gate.WAIT, "held, or unknown and therefore watched three times as long"
    assert clock.look(35.0).gate is (Gate.WAIT if answer is Lease.HELD else Gate.OPEN)
