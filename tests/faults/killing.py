"""Kills at system calls: evenings are played in a child under strace, which ends it at the n-th call of a kind."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
CALLS = (
    "write", "pwrite64", "fsync", "fdatasync", "rename", "renameat", "renameat2", "unlink", "unlinkat", "mkdir",
    "mkdirat", "rmdir", "ftruncate", "link", "linkat",
)  # fmt: skip


@dataclass(frozen=True)
class Point:
    """The n-th call of a kind, as strace counts: in each thread by itself."""

    call: str
    number: int


class Stage:
    """The process that plays evenings."""

    def __init__(self, memory: Path) -> None:
        self._memory = memory
        if shutil.which("strace") is None:
            pytest.skip("strace is not installed: kills at system calls cannot be injected")
        paths = os.pathsep.join(str(p) for p in (HERE.parent, HERE.parent.parent / "daemon"))
        self._process = subprocess.Popen(
            [sys.executable, str(HERE / "evening_child.py")], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            stderr=subprocess.DEVNULL, env=os.environ | {"PYTHONPATH": paths, "PYTHONDONTWRITEBYTECODE": "1"},
        )  # fmt: skip

    def play(self, root: Path, act: str, log: Path, *inject: str) -> int:
        """One evening under strace; gives the wait status of the child, 0 = played to its end."""
        child = self._ask(root, act)
        tracer = subprocess.Popen(
            ["strace", "-f", "-qq", "-o", str(log), *inject, "-p", str(child)], stderr=subprocess.PIPE
        )
        try:
            if not _traced(child, tracer):
                os.kill(child, signal.SIGKILL)
                os.kill(child, signal.SIGCONT)
                self.ended()
                pytest.skip(f"strace may not trace here: {tracer.stderr and tracer.stderr.read().decode()}")
            os.kill(child, signal.SIGCONT)
            return self.ended()
        finally:
            tracer.wait(timeout=60)

    def begin(self, root: Path, act: str) -> int:
        """An evening without a tracer; gives the child's number at once."""
        child = self._ask(root, act)
        os.kill(child, signal.SIGCONT)
        return child

    def ended(self) -> int:
        """Wait for the child's end; gives its wait status."""
        assert self._process.stdout
        return int(self._process.stdout.readline())

    def _ask(self, root: Path, act: str) -> int:
        assert self._process.stdin
        assert self._process.stdout
        self._process.stdin.write(json.dumps({"root": str(root), "act": act, "memory": str(self._memory)}) + "\n")
        self._process.stdin.flush()
        child = int(self._process.stdout.readline())
        until = time.monotonic() + 10
        while "State:\tT" not in Path(f"/proc/{child}/status").read_text() and time.monotonic() < until:
            time.sleep(0.01)
        return child

    def close(self) -> None:
        assert self._process.stdin
        self._process.stdin.close()
        self._process.wait(timeout=60)


@contextmanager
def stage(memory: Path) -> Iterator[Stage]:
    """`memory`: the folder of what was measured before, shared with the tests."""
    made = Stage(memory)
    try:
        yield made
    finally:
        made.close()


def points_of(log: Path, calls: Sequence[str] = CALLS) -> list[Point]:
    """Every state-changing call of an evening, in the order they were first made."""
    counts: dict[tuple[str, str], int] = {}
    found: dict[Point, None] = {}
    for line in log.read_text(errors="replace").splitlines():
        thread, _, rest = line.partition(" ")
        call = rest.strip().partition("(")[0]
        if call in calls and "resumed>" not in call:
            counts[thread, call] = counts.get((thread, call), 0) + 1
            found[Point(call, counts[thread, call])] = None
    return list(found)


def sampled(points: Sequence[Any], count: int, offset: int = 0) -> list[Any]:
    """`count` of them, evenly over the evening; `offset` moves all of them on."""
    step = max(1, len(points) // count)
    return list(points[offset % step :: step][:count])


def _traced(child: int, tracer: subprocess.Popen[bytes]) -> bool:
    until = time.monotonic() + 10
    while time.monotonic() < until and tracer.poll() is None:
        if "TracerPid:\t0\n" not in Path(f"/proc/{child}/status").read_text():
            return True
        time.sleep(0.01)
    return False
