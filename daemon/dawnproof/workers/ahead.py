"""A child that loads its libraries while its owner still finds out what to ask of it."""

from __future__ import annotations

import multiprocessing
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import suppress
from typing import Any

from .child import guard, kill, no_interrupts, set_for_children, shared_with

_BYTES = 8 << 30  # of addresses, for loading alone; the first task brings its own limit
_WITH_THREADS = ("numpy", "cv2", "pyvips")  # libraries that keep threads of their own
_begun: list[Ahead] = []


class Ahead:
    """Begins with `get_ready`; given to a Pool, or ended.

    An owner that has no other thread yet is forked: the child need not start an interpreter and load anew what its
    owner has loaded, which is a good part of its way to the first pixel. Any other owner starts it as a Pool does.
    """

    def __init__(self, get_ready: Callable[[], Any]) -> None:
        set_for_children()
        forked = threading.active_count() == 1 and not any(name in sys.modules for name in _WITH_THREADS)
        context = multiprocessing.get_context("fork" if forked else "spawn")
        self.shared = shared_with(context)
        self.executor = ProcessPoolExecutor(1, context, initializer=guard, initargs=(_BYTES, self.shared, True))
        # a child ends with the thread that started it, so one that lasts as long as the pool starts all the others
        self.starter = ThreadPoolExecutor(1, "children")
        if not forked:
            self.starter.submit(self._start, get_ready)
            return
        with suppress(OSError):  # no memory, no processes: the pool tries again and says so
            self._start(get_ready)  # before there is a thread, by the one that lives as long as the process

    def _start(self, get_ready: Callable[[], Any]) -> None:
        with no_interrupts():
            self.executor.submit(get_ready)

    def end(self) -> None:
        """Comes back when the child is gone, as `Pool.close` with `reap`."""
        kill(self.shared)
        self.executor.shutdown(wait=True, cancel_futures=True)
        self.starter.shutdown(wait=False, cancel_futures=True)


def begin(get_ready: Callable[[], Any]) -> None:
    """Before the command is known in full: a child that it will want."""
    _begun.append(Ahead(get_ready))


def begun_or_new(get_ready: Callable[[], Any]) -> Ahead:
    """The child that was begun for this, else a new one; ended or given to a Pool by whoever takes it."""
    return _begun.pop() if _begun else Ahead(get_ready)


def end_unused() -> None:
    """Of what was begun, what nobody took."""
    while _begun:
        _begun.pop().end()
