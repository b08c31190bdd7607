"""A scheduler and workers in processes of their own, and a studio's daemon that works with them."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import small_studio
from faults import evening

from dawnproof.cluster.engine import ClusterPool
from dawnproof.service.engine import limited_run
from dawnproof.storage.studio import Studio

DAEMON = Path(__file__).parents[2] / "daemon"
TESTS = Path(__file__).parents[1]  # for tasks of the tests' own
SILENCE_S = 3.0


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class Started:
    """A process with its lines in a file; `before` are the words that put it on another host."""

    def __init__(self, log: Path, words: Sequence[str], before: Sequence[str] = (), package: Path = DAEMON) -> None:
        self.log = log
        environment = os.environ | {"PYTHONPATH": f"{package}:{TESTS}", "OPENBLAS_NUM_THREADS": "1"}
        with log.open("ab") as out:
            self.process = subprocess.Popen(
                [*before, sys.executable, *words], stdout=out, stderr=out, env=environment, start_new_session=True
            )

    def said(self) -> str:
        return self.log.read_text("utf-8", "replace")

    def until(self, words: str, within_s: float = 60.0) -> None:
        wait_for(lambda: words in self.said(), f"{self.log.name} says {words!r}", within_s)

    def send(self, number: signal.Signals) -> None:
        """To the process and all it started."""
        try:
            os.killpg(self.process.pid, number)
        except ProcessLookupError:
            return

    def kill(self) -> None:
        self.send(signal.SIGKILL)
        self.process.wait(timeout=20)


def wait_for(true: Callable[[], bool], what: str, within_s: float = 60.0) -> float:
    begun = time.monotonic()
    while not true():
        assert time.monotonic() - begun < within_s, f"not within {within_s} s: {what}"
        time.sleep(0.02)
    return time.monotonic() - begun


class House:
    """The computers of one test; all end with it."""

    def __init__(
        self, folder: Path, stack: ExitStack, port: int | None = None, host: str = "127.0.0.1", protocol: str = "tcp"
    ) -> None:
        self._folder, self._stack = folder, stack
        self.port, self.host, self.protocol = port or free_port(), host, protocol
        self.file = folder / "scheduler.json"

    @property
    def address(self) -> str:
        return f"{self.protocol}://{self.host}:{self.port}"

    def start(self, name: str, *words: str, before: Sequence[str] = (), package: Path = DAEMON) -> Started:
        started = Started(self._folder / f"{name}.log", words, before, package)
        self._stack.callback(started.kill)
        return started

    def scheduler(self, before: Sequence[str] = ()) -> Started:
        words = ("scheduler", "--host", self.host, "--port", str(self.port), "--protocol", self.protocol,
                 "--no-dashboard", "--no-show", "--scheduler-file", str(self.file))  # fmt: skip
        started = self.start("scheduler", "-m", "dask", *words, before=before)
        started.until("Scheduler at")
        return started

    def worker(
        self, name: str, before: Sequence[str] = (), package: Path = DAEMON, memory_mb: int = 8000, slots: int = 1,
        by_file: bool = False,
    ) -> Started:  # fmt: skip
        where = ("--scheduler-file", str(self.file)) if by_file else ("--scheduler", self.address)
        words = (*where, "--name", name, "--memory-mb", str(memory_mb), "--slots", str(slots))
        started = self.start(name, "-m", "dawnproof", "worker", *words, before=before, package=package)
        started.until("helps at")
        return started


def other_version(folder: Path, version: str = "0.0.9") -> Path:
    """The package as a helper would have it that was not brought up to date; its source differs in any case."""
    shutil.copytree(DAEMON / "dawnproof", folder / "dawnproof", symlinks=False,
                    ignore=shutil.ignore_patterns("__pycache__"))  # fmt: skip
    (folder / "dawnproof" / "__init__.py").write_text(f'"""An older one."""\n\n__version__ = "{version}"\n', "utf-8")
    return folder


class Here(evening.InlinePool):
    """The studio's own children, counted: what was done here after all."""

    def __init__(self) -> None:
        super().__init__()
        self.done: list[tuple[str, str]] = []

    def submit(self, what: str, subject: str, function: Callable[..., Any], *given: Any, long: bool = False) -> Any:
        self.done.append((what, subject))
        return super().submit(what, subject, function, *given, long=long)


class Watched(evening.Living):
    """A daemon that hands its work to a cluster."""

    def __init__(
        self, studio: Studio, address: str | None, paths: dict[str, str] | None = None, file: Path | None = None
    ) -> None:
        self.here = Here()
        limited = lambda needs_mb: limited_run(studio.book.work, needs_mb)  # noqa: E731
        by = str(file) if file else None
        self.engine = ClusterPool(self.here, limited, address, by, paths or {}, SILENCE_S, retry_s=1.0)
        super().__init__(studio.root, self.engine, news=self.engine.news)

    def __enter__(self) -> Watched:
        super().__enter__()
        return self

    def until_joining(self, job: str) -> None:
        """Until another computer has begun the job and has a folder of its own to write in."""
        self.until(lambda: any(rooms_of(self.studio, job)), f"a desk for {job}")


def send_halves(studio: Studio, job: str, seed: int) -> Counter[str]:
    """Two parts of one work arrive, from two beds; their digests."""
    left, right = small_studio.halves(seed)
    places = ((studio.inbox / f"{job}_L.tif", left), (studio.inbox / "bed-b" / f"{job}_R.tif", right))
    return Counter(evening.digest_of(small_studio.write(path, pixels)) for path, pixels in places)


def rooms_of(studio: Studio, job: str) -> list[Path]:
    """Folders in which attempts write, on the way to the archive."""
    return [p for p in studio.archive.glob(f".dawnproof-staging-*{job}.away-*/*") if p.is_dir()]


def lent_rooms(studio: Studio) -> list[Path]:
    return [*studio.archive.glob(".*away*"), *studio.proof.glob(".*away*")]
