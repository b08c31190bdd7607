"""Tasks for children, in a module they can import."""

from __future__ import annotations

import os
import time

from dawnproof.errors import NotAScan


def number_of_child(_: int = 0) -> int:
    return os.getpid()


def rest(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


def die() -> None:
    os._exit(3)


def refuse() -> None:
    raise NotAScan("it is no TIFF")


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
