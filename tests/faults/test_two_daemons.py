"""Row 22 of the fault table: two daemons on one studio, as processes of their own. The second refuses and names the
first; what a killed one leaves behind hinders nobody."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from faults import evening

from dawnproof.errors import EnvironmentFault
from dawnproof.storage.lock import StudioLock
from dawnproof.storage.studio import Studio

DAEMON = Path(__file__).parents[2] / "daemon"
SINCE = datetime(2026, 11, 24, 18, 5).astimezone()
ELSEWHERE = ("unshare", "--pid", "--uts", "--mount", "--fork", "--mount-proc", "--kill-child")


def command(studio: Studio) -> list[str]:
    return [sys.executable, "-m", "dawnproof", "watch", str(studio.root), "--plain"]


@contextlib.contextmanager
def watching(studio: Studio, *before: str) -> Iterator[subprocess.Popen[str]]:
    """A daemon that has begun to watch; ended with the block."""
    environment = os.environ | {"PYTHONPATH": str(DAEMON)}
    daemon = subprocess.Popen([*before, *command(studio)], stdout=subprocess.PIPE, text=True, env=environment)
    try:
        assert daemon.stdout
        assert any("watches the studio" in line for line in daemon.stdout), "the daemon begins"
        yield daemon
    finally:
        daemon.kill() if before else daemon.terminate()  # what stands before the daemon does not pass a word on
        daemon.communicate(timeout=30)


def refused(studio: Studio, *before: str) -> str:
    """What a daemon says that may not start."""
    environment = os.environ | {"PYTHONPATH": str(DAEMON)}
    done = subprocess.run([*before, *command(studio)], capture_output=True, text=True, env=environment, timeout=60)
    assert done.returncode == 2, done.stdout + done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    return done.stderr


def test_the_second_of_two_processes_refuses_and_the_first_goes_on(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    with watching(studio) as first:
        said = refused(studio)
        assert f"process {first.pid} on {socket.gethostname()}, since {datetime.now():%Y-%m-%d}" in said
        assert "dawnproof look" in said
        assert first.poll() is None
        entered = Counter([evening.scan(studio.inbox / "SL-0001_whole.tif", 1)])
        assert first.stdout
        assert any("SL-0001 archived" in line for line in first.stdout), "the first is not disturbed"
    evening.check_census(studio, entered)


def test_what_a_killed_daemon_leaves_is_no_obstacle(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    with watching(studio) as first:
        first.send_signal(signal.SIGKILL)
        first.wait(timeout=30)
        assert f"process {first.pid} " in (studio.private / "lock").read_text(), "the note of the dead one still stands"
        with watching(studio) as second:
            assert f"process {second.pid} " in refused(studio)


def test_numbers_and_names_of_another_container_hinder_nothing(tmp_path: Path) -> None:
    """Two containers on one disk: each has its own process 1 and its own host name, and the lock holds all the same."""
    if shutil.which("unshare") is None:
        pytest.skip("unshare is not installed: no process can be given numbers and a host name of its own")
    tried = subprocess.run([*ELSEWHERE, "true"], capture_output=True, text=True, check=False)
    if tried.returncode:
        pytest.skip(f"namespaces are refused here: {tried.stderr.strip()}")
    inside = (*ELSEWHERE, "sh", "-c", 'hostname lane-two && exec "$@"', "sh")
    studio = evening.studio_at(tmp_path / "studio")
    with watching(studio) as first:
        assert f"process {first.pid} on {socket.gethostname()}" in refused(studio, *inside)
    with watching(studio, *inside):
        assert "process 1 on lane-two, since" in refused(studio)


@pytest.mark.parametrize("note", ["4194303\n", "", "\x1b[2J" * 200, "\n\n"], ids=["number", "none", "hostile", "lines"])
def test_a_note_of_nobody_and_of_anybody(note: str, tmp_path: Path) -> None:
    """The note is only words: whatever stands there, the lock decides, and a holder is named harmlessly."""
    studio = evening.studio_at(tmp_path / "studio")
    (studio.private / "lock").write_text(note)
    held = StudioLock(studio, SINCE)
    assert (studio.private / "lock").read_text() == f"process {os.getpid()} on {socket.gethostname()}, since " \
        "2026-11-24 18:05\n"  # fmt: skip
    (studio.private / "lock").write_text(note)
    with pytest.raises(EnvironmentFault, match="another daemon watches") as refusal:
        StudioLock(studio, SINCE)
    assert "\x1b" not in str(refusal.value)
    held.release()
    StudioLock(studio, SINCE).release()


def test_a_lock_that_cannot_be_opened_is_a_sentence(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    (studio.private / "lock").mkdir()
    with pytest.raises(EnvironmentFault, match=r"opening .*lock failed"):
        StudioLock(studio, SINCE)
