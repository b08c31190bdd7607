"""A thread of the daemon for one kind of work, that can be asked whether it lives and whether it is at work."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from typing import Any


class Worker(Executor):
    """An executor that can be asked how it is. What works in the caller's own thread always lives and never waits."""

    def lives(self) -> bool:
        """Whether what is handed to it will be done."""
        return True

    def works(self) -> bool:
        """Whether something was handed to it that is not done."""
        return False

    def begun_s(self) -> float:
        """When it began what it does, on the monotonic clock."""
        return 0.0


class Hand(Worker, ThreadPoolExecutor):
    """One thread, one thing after the other."""

    def __init__(self, name: str) -> None:
        super().__init__(1, name, initializer=self._note)
        self._thread: threading.Thread | None = None
        self._begun_s, self._does = 0.0, False
        self._last: Future[Any] | None = None

    def submit(self, fn: Callable[..., Any], /, *args: Any, **options: Any) -> Future[Any]:
        """Hand it something."""
        self._last = super().submit(self._do, fn, *args, **options)
        return self._last

    def _do(self, fn: Callable[..., Any], /, *args: Any, **options: Any) -> Any:
        self._begun_s, self._does = time.monotonic(), True
        try:
            return fn(*args, **options)
        finally:
            self._does = False

    def lives(self) -> bool:
        """A thread that never had work counts as living."""
        return self._thread is None or self._thread.is_alive()

    def works(self) -> bool:
        """Things are taken in order, so the last one tells, unless it was withdrawn while an earlier one is done."""
        return self._does or (self._last is not None and not self._last.done())

    def begun_s(self) -> float:
        """When it began what it does, on the monotonic clock."""
        return self._begun_s

    def _note(self) -> None:
        self._thread = threading.current_thread()
