"""Events as hints: what comes is passed on, what is lost is announced, a vanished folder is taken up again."""

from __future__ import annotations

import logging
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from dawnproof.watch.observer import OVERFLOW_LOG, Hint, InboxObserver, RootIdentity


class Watching:
    """An observer on a fresh inbox and what its queue brings."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.hints: queue.Queue[Hint] = queue.Queue()
        self.observer = InboxObserver([root], self.hints)

    def until(self, wanted: Callable[[Hint], bool], at_most_s: float = 5.0) -> Hint | None:
        """The first hint of a kind, or None when it does not come."""
        try:
            while True:
                hint = self.hints.get(timeout=at_most_s)
                if wanted(hint):
                    return hint
        except queue.Empty:
            return None

    def path_comes(self, path: Path) -> bool:
        return self.until(lambda hint: hint.path == path) is not None

    def rescan_comes(self, word: str = "") -> bool:
        return self.until(lambda hint: hint.path is None and word in hint.why) is not None


@pytest.fixture
def watching(tmp_path: Path) -> Iterator[Watching]:
    root = tmp_path / "inbox"
    root.mkdir()
    watching = Watching(root)
    watching.observer.start()
    yield watching
    watching.observer.stop()


def test_starting_asks_for_a_full_scan(watching: Watching) -> None:
    """Files that are there at the start bring no event."""
    assert watching.rescan_comes("from now on")
    assert watching.observer.tend()[0].problem == ""


def written(path: Path) -> None:
    path.write_bytes(b"scan")


def renamed_in(path: Path) -> None:
    outside = path.parent.parent / "outside.tif"
    outside.write_bytes(b"scan")
    outside.rename(path)


def renamed_within(path: Path) -> None:
    (path.parent / ".temporary").write_bytes(b"scan")
    (path.parent / ".temporary").rename(path)


def linked(path: Path) -> None:
    outside = path.parent.parent / "outside.tif"
    outside.write_bytes(b"scan")
    os.link(outside, path)


@pytest.mark.parametrize("writer", [written, renamed_in, renamed_within, linked])
@pytest.mark.parametrize("name", ["a.tif", "é\u202e\x1b[2J.tif", os.fsdecode(b"\xff.tif")])
def test_each_way_to_arrive_is_a_hint(watching: Watching, writer: Callable[[Path], None], name: str) -> None:
    writer(watching.root / name)
    assert watching.path_comes(watching.root / name)


def test_new_folders_are_followed(watching: Watching) -> None:
    folder = watching.root / "bed-a" / "evening"
    folder.mkdir(parents=True)
    assert watching.path_comes(watching.root / "bed-a")
    subprocess.run(["sh", "-c", "sleep 0.2; echo scan > a.tif"], cwd=folder, check=True)
    assert watching.path_comes(folder / "a.tif")


def test_a_handler_cannot_raise(
    watching: Watching, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """One exception in a handler would end all watching: here the queue itself fails once."""
    failing = threading.Event()
    real = watching.hints.put_nowait

    def once(hint: Hint) -> None:
        if not failing.is_set():
            failing.set()
            raise RuntimeError("no")
        real(hint)

    monkeypatch.setattr(watching.hints, "put_nowait", once)
    written(watching.root / "a.tif")
    assert failing.wait(5)
    written(watching.root / "b.tif")
    assert watching.path_comes(watching.root / "b.tif")
    assert "could not be passed on" in caplog.text


def test_an_overflow_in_the_log_asks_for_a_full_scan(watching: Watching) -> None:
    logging.getLogger(OVERFLOW_LOG).warning("Inotify queue overflowed; filesystem events were lost")
    assert watching.rescan_comes("overflowed")
    logging.getLogger(OVERFLOW_LOG).warning("something else")
    assert watching.hints.empty()


WATCHING_CHILD = """
import queue, sys
from pathlib import Path
from dawnproof.watch.observer import InboxObserver
hints = queue.Queue()
observer = InboxObserver([Path(sys.argv[1])], hints)
observer.start()
print("ready", flush=True)
while True:
    hint = hints.get(timeout=60)
    if hint.path is None and "overflowed" in hint.why:
        print("overflow", flush=True)
        break
"""


def test_a_real_overflow_of_the_kernel_queue_is_announced(tmp_path: Path) -> None:
    """The process is stopped while more events come than the kernel keeps."""
    limit = Path("/proc/sys/fs/inotify/max_queued_events")
    if not limit.exists() or int(limit.read_text()) > 40_000:
        pytest.skip("the kernel's queue of events is too long to be made to overflow in a test")
    child = subprocess.Popen(
        [sys.executable, "-c", WATCHING_CHILD, str(tmp_path)],
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2] / "daemon")},
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert child.stdout is not None
    try:
        assert child.stdout.readline() == "ready\n"
        child.send_signal(signal.SIGSTOP)
        for _ in range(int(limit.read_text()) // 2 + 500):  # created and closed: two events each time
            (tmp_path / "a.tif").write_bytes(b"")
            (tmp_path / "a.tif").unlink()
        child.send_signal(signal.SIGCONT)
        assert child.stdout.readline() == "overflow\n"
    finally:
        child.kill()
        child.wait()
        child.stdout.close()


def test_a_full_queue_of_hints_is_no_error(tmp_path: Path) -> None:
    hints: queue.Queue[Hint] = queue.Queue(maxsize=1)
    observer = InboxObserver([tmp_path], hints)
    observer.start()
    try:
        for number in range(20):
            written(tmp_path / f"{number}.tif")
        assert observer.tend()[0].problem == ""
        assert hints.qsize() == 1
    finally:
        observer.stop()


def test_a_root_that_is_deleted_and_made_again_is_taken_up(watching: Watching) -> None:
    assert watching.rescan_comes("from now on")
    watching.root.rmdir()
    gone = watching.observer.tend()[0]
    assert (gone.there, bool(gone.problem)) == (False, True)
    assert watching.rescan_comes("replaced")
    watching.root.mkdir()
    back = watching.observer.tend()[0]
    assert (back.there, back.problem) == (True, "")
    assert watching.rescan_comes("from now on")
    written(watching.root / "a.tif")
    assert watching.path_comes(watching.root / "a.tif")


def test_a_root_that_is_replaced_is_noticed(watching: Watching) -> None:
    assert watching.rescan_comes("from now on")
    watching.root.rename(watching.root.parent / "old")
    watching.root.mkdir()
    assert watching.observer.tend()[0].problem == ""
    assert watching.rescan_comes("replaced")
    written(watching.root / "new.tif")
    assert watching.path_comes(watching.root / "new.tif")


def test_a_root_missing_at_the_start_is_said_and_waited_for(tmp_path: Path) -> None:
    watching = Watching(tmp_path / "later")
    watching.observer.start()
    try:
        assert not watching.observer.tend()[0].there
        watching.root.mkdir()
        assert watching.observer.tend()[0].problem == ""
        written(watching.root / "a.tif")
        assert watching.path_comes(watching.root / "a.tif")
    finally:
        watching.observer.stop()


def test_a_mount_over_the_root_changes_its_identity(tmp_path: Path) -> None:
    root = tmp_path / "inbox"
    root.mkdir()
    before = RootIdentity.of(root)
    mounted = subprocess.run(["mount", "-t", "tmpfs", "tmpfs", str(root)], capture_output=True, check=False)
    if mounted.returncode:
        pytest.skip("mounting is not allowed here")
    try:
        over = RootIdentity.of(root)
    finally:
        subprocess.run(["umount", str(root)], check=True)
    assert before is not None
    assert over is not None
    assert over != before
    assert over.is_mount
    assert RootIdentity.of(root) == before


def test_a_dead_observer_is_begun_again(watching: Watching) -> None:
    watching.observer._observer.stop()
    watching.observer._observer.join(5)
    assert watching.observer.tend()[0].problem == ""
    written(watching.root / "a.tif")
    assert watching.path_comes(watching.root / "a.tif")
