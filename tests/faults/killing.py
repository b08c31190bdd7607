"""Kills at system calls: evenings are played in a child under strace, which ends it at the n-th call of a kind."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
NO_TRACER = 77  # as in evening_child
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
        child = self._ask(root, act, traced=True)
        command = ["strace", "-f", "-qq", "-o", str(log), *inject, "-p", str(child)]
        tracer = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        status = self.ended()
        said = tracer.communicate(timeout=60)[1]
        if os.WIFEXITED(status) and os.WEXITSTATUS(status) == NO_TRACER:
            pytest.skip(f"strace may not trace here: {said.strip()}")
        return status

    def begin(self, root: Path, act: str) -> int:
        """An evening without a tracer; gives the child's number at once."""
        return self._ask(root, act, traced=False)

    def ended(self) -> int:
        """Wait for the child's end; gives its wait status."""
        assert self._process.stdout
        return int(self._process.stdout.readline())

    def _ask(self, root: Path, act: str, traced: bool) -> int:
        assert self._process.stdin
        assert self._process.stdout
        asked = {"root": str(root), "act": act, "memory": str(self._memory), "traced": traced}
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())

    def close(self) -> None:
        assert self._process.stdin
        self._process.stdin.close()
        try:
            self._process.wait(timeout=60)
        except subprocess.TimeoutExpired:
            self._process.kill()
            raise


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
