"""A child that loads its libraries while its owner still finds out what to ask of it."""

from __future__ import annotations

import importlib
import multiprocessing
import sys
import threading
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import suppress

from .child import guard, kill, set_for_children, shared_with

_BYTES = 8 << 30  # of addresses, for loading alone; the first task brings its own limit
_WITH_THREADS = ("numpy", "cv2", "pyvips")  # libraries that keep threads of their own


class Ahead:
    """Begins to load a module; given to a Pool, or ended.

    An owner that has no other thread yet is forked: the child need not start an interpreter and load anew what its
    owner has loaded, which is a good part of its way to the first pixel. Any other owner starts it as a Pool does.
    """

    def __init__(self, module: str) -> None:
        set_for_children()
        forked = threading.active_count() == 1 and not any(name in sys.modules for name in _WITH_THREADS)
        context = multiprocessing.get_context("fork" if forked else "spawn")
        self.shared = shared_with(context)
        self.executor = ProcessPoolExecutor(1, context, initializer=guard, initargs=(_BYTES, self.shared))
        if forked:  # before there is a thread, by the one that lives as long as the process
            with suppress(OSError):  # no memory, no processes: the pool tries again and says so
                self.executor.submit(importlib.import_module, module)
        # a child ends with the thread that started it, so one that lasts as long as the pool starts all the others
        self.starter = ThreadPoolExecutor(1, "children")
        if not forked:
            self.starter.submit(self.executor.submit, importlib.import_module, module)

    def end(self) -> None:
        kill(self.shared)
        self.executor.shutdown(wait=False, cancel_futures=True)
        self.starter.shutdown(wait=False, cancel_futures=True)
