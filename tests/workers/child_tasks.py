"""Tasks for children, in a module they can import."""

from __future__ import annotations

import os
import resource
import time
from dataclasses import dataclass
from pathlib import Path

from dawnproof.errors import NotAScan


def number_of_child(_: int = 0) -> int:
    return os.getpid()


def command_line() -> bytes:
    return Path("/proc/self/cmdline").read_bytes()


def rest(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


def die() -> None:
    os._exit(3)


def refuse() -> None:
    raise NotAScan("it is no TIFF")


def address_limits() -> tuple[int, int]:
    return resource.getrlimit(resource.RLIMIT_AS)


def spin() -> None:
    while True:
        pass


def take(megabytes: int) -> int:
    return len(bytearray(megabytes << 20))


def keep(megabytes: int, seconds: float) -> int:
    block = bytearray(megabytes << 20)
    block[::4096] = b"x" * len(block[::4096])
    time.sleep(seconds)
    return len(block)


@dataclass(frozen=True)
class Wanting:
    """A question that says what it will need; holds `holds_mb` for some seconds."""

    needs: int
    holds_mb: int
    seconds: float

    def needs_mb(self) -> int:
        return self.needs


def want(question: Wanting) -> tuple[float, float]:
    """From when to when it ran, seconds of the machine's clock."""
    begun = time.monotonic()
    keep(question.holds_mb, question.seconds)
    return begun, time.monotonic()
