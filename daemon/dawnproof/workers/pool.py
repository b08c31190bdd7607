"""A few single-worker children with limits of memory and time; a child that dies takes only its own task along."""

from __future__ import annotations

import multiprocessing
import os
import resource
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from ..errors import WorkerDied
from ..model import Progress
from .ahead import Ahead
from .child import guard, kill, limited, no_interrupts, set_for_children, shared_with

CPU_SHARE = 1.0  # of wall time times cores: what one task may compute, counted by the kernel
RESIDENT_SHARE = 0.75  # of the address space a child may map: what may really be in memory
OUTGREW = "it outgrew the room beside another"


@dataclass
class _Task:
    function: Callable[..., Any]
    arguments: tuple[Any, ...]
    what: str
    subject: str
    future: Future[Any] = field(default_factory=Future)
    begun_s: float = 0.0
    killed: str = ""
    alone: bool = False  # it outgrew the room beside another; once more by itself

    def needs_mb(self) -> int:
        """What its question says it will need; 0 where it says nothing."""
        question: Any = self.arguments[0] if self.arguments else None
        return int(question.needs_mb()) if hasattr(question, "needs_mb") else 0


class Pool:
    """Children that run tasks. Short tasks (a scan on the bed waits for its verdict) go before long ones (joins),
    and long ones never take every slot when there is more than one. What they need together stays within `room_mb`
    (0: no such bound): a task waits for room, and one that outgrows it beside others is done again by itself."""

    def __init__(
        self,
        slots: int,
        memory_mb: int,
        wall_s: float,
        renew_after: int,
        ahead: Ahead | None = None,
        room_mb: int = 0,
    ) -> None:
        set_for_children()
        count = slots or min(2, os.cpu_count() or 1)
        self._room_mb = room_mb
        self._wall_s, self._cpu_s = wall_s, wall_s * CPU_SHARE * (os.cpu_count() or 1)
        self._short: deque[_Task] = deque()
        self._long: deque[_Task] = deque()
        self._lock = threading.RLock()
        self._slots = [_Slot(memory_mb, renew_after) for _ in range(count)]
        if ahead is not None:
            self._slots[0].take_over(ahead)
        # a child ends with the thread that started it, so one that lasts as long as the pool starts them all
        self._starter = ahead.starter if ahead else ThreadPoolExecutor(1, "children")
        self._closed = False

    def submit(
        self, what: str, subject: str, function: Callable[..., Any], *arguments: Any, long: bool = False
    ) -> Future[Any]:
        """Run `function(*arguments)` in a child. The future fails with the function's own error, or WorkerDied."""
        task = _Task(function, arguments, what, subject)
        with self._lock:
            (self._long if long else self._short).append(task)
        self._feed_soon()
        return task.future

    def children(self) -> tuple[int, ...]:
        """Process numbers of the children that live."""
        with self._lock:
            return tuple(number for slot in self._slots if (number := slot.number()))

    def waiting(self) -> int:
        """Tasks that have not begun."""
        with self._lock:
            return len(self._short) + len(self._long)

    def places(self) -> int:
        """Tasks that can run at the same time."""
        return len(self._slots)

    def progress(self) -> tuple[Progress, ...]:
        """What the children are doing now."""
        now = time.monotonic()
        with self._lock:
            return tuple(
                Progress(s.task.what, s.task.subject, s.share(), now - s.task.begun_s) for s in self._slots if s.task
            )

    def helper_of(self, future: Future[Any]) -> str:
        """None: all is done by children of this machine."""
        return ""

    def watch(self) -> None:
        """Kill what runs too long or holds too much memory; called regularly by the owner."""
        now = time.monotonic()
        with self._lock:
            for slot in self._slots:
                task = slot.task
                if task is None or task.killed:
                    continue
                if now - task.begun_s > self._wall_s:
                    task.killed = f"it took longer than {self._wall_s:.0f} s"
                elif slot.resident_bytes() > slot.resident_limit:
                    task.killed = f"it needed more than {slot.resident_limit >> 20} MB of memory"
                if task.killed:
                    slot.kill()
            self._keep_within_room()

    def _keep_within_room(self) -> None:
        """Beyond the room the heaviest of several children is ended, and its task waits to be alone."""
        busy = [slot for slot in self._slots if slot.task and not slot.task.killed]
        held = {slot: slot.resident_bytes() for slot in busy}
        if not self._room_mb or len(busy) < 2 or sum(held.values()) <= self._room_mb << 20:
            return
        heaviest = max(busy, key=lambda slot: held[slot])
        if heaviest.task is not None:
            heaviest.task.alone, heaviest.task.killed = True, OUTGREW
            heaviest.kill()

    def close(self, wait: bool = True, reap: bool = False) -> None:
        """End the children; tasks that have not begun are cancelled, one that runs is ended unless waited for. `reap`:
        come back when those that are ended are gone, and those that were replaced before. The end of the process waits
        for that in any case, and must not come upon them in the middle of it: the interpreter then complains of a pipe
        that is closed."""
        with self._lock:
            self._closed = True
            for task in (*self._short, *self._long):
                task.future.cancel()
            self._short.clear()
            self._long.clear()
        for slot in self._slots:
            if not wait:
                slot.kill()
            with self._lock:
                executor = slot.release()
            if executor is not None:
                executor.shutdown(wait=wait or reap, cancel_futures=True)
            if reap:
                slot.reap()
        self._starter.shutdown(wait=False, cancel_futures=True)

    def _feed_soon(self) -> None:
        with self._lock:
            if not self._closed:
                self._starter.submit(self._feed)

    def _feed(self) -> None:
        with self._lock:
            if self._closed:
                return
            for slot in self._slots:
                task = self._next() if slot.task is None else None
                if task is None:
                    continue
                if not task.alone and not task.future.set_running_or_notify_cancel():
                    continue
                task.begun_s = time.monotonic()
                try:
                    inner = slot.start(task, self._cpu_s)
                except (BrokenProcessPool, OSError, RuntimeError) as error:  # no memory, no descriptors, no processes
                    task.killed = task.killed or f"it could not be started ({error})"
                    self._end(slot, task, BrokenProcessPool())
                    continue
                inner.add_done_callback(partial(self._done, slot, task))

    def _next(self) -> _Task | None:
        running = [slot.task for slot in self._slots if slot.task]
        if self._short:
            return self._short.popleft() if self._has_room(self._short[0], running) else None
        joins = sum(slot.long for slot in self._slots)
        if self._long and joins < max(1, len(self._slots) - 1) and self._has_room(self._long[0], running):
            return self._long.popleft()
        return None

    def _has_room(self, task: _Task, running: list[_Task]) -> bool:
        if not running or not self._room_mb:
            return True
        if task.alone or any(other.alone for other in running):
            return False
        return task.needs_mb() + sum(other.needs_mb() for other in running) <= self._room_mb

    def _done(self, slot: _Slot, task: _Task, inner: Future[Any]) -> None:
        # one that had not begun when the children were ended was cancelled: as if its child had died
        error = BrokenProcessPool() if inner.cancelled() else inner.exception()
        if error is None:
            with self._lock:
                slot.finish()
            task.future.set_result(inner.result())
        else:
            self._end(slot, task, error)
        self._feed_soon()

    def _end(self, slot: _Slot, task: _Task, error: BaseException) -> None:
        died = isinstance(error, BrokenProcessPool)
        with self._lock:
            slot.finish(broken=died)
            if died and task.killed == OUTGREW and not self._closed:
                task.killed = ""
                (self._long if task.what == "joining" else self._short).appendleft(task)
                return
        if died or isinstance(error, MemoryError):
            why = task.killed or (
                "it needed too much memory" if isinstance(error, MemoryError) else "it ended by itself"
            )
            task.future.set_exception(WorkerDied(f"the child {task.what} this file was stopped: {why}"))
        else:
            task.future.set_exception(error)


class _Slot:
    """One child at a time, replaced after a death and after a number of tasks."""

    def __init__(self, memory_mb: int, renew_after: int) -> None:
        self._memory_bytes = memory_mb << 20
        self._renew_after = renew_after
        self._context = multiprocessing.get_context("spawn")
        self._shared = shared_with(self._context)
        self._executor: ProcessPoolExecutor | None = None
        self._leaving: list[threading.Thread] = []  # each ends when a child that was shut unwaited is gone
        self._count = 0
        self.task: _Task | None = None
        self.resident_limit = int(self._memory_bytes * RESIDENT_SHARE)

    def take_over(self, ahead: Ahead) -> None:
        self._executor, self._shared = ahead.executor, ahead.shared

    @property
    def long(self) -> bool:
        return self.task is not None and self.task.what == "joining"

    def number(self) -> int:
        """Process number of the child, 0 where there is none."""
        return int(self._shared[0]) if self._executor is not None else 0

    def start(self, task: _Task, cpu_s: float) -> Future[Any]:
        if self._executor is None:
            self._shared[0] = self._shared[2] = 0.0
            self._executor = ProcessPoolExecutor(
                1, self._context, initializer=guard, initargs=(self._memory_bytes, self._shared)
            )
        self._shared[1] = 0.0
        self.task = task
        with no_interrupts():
            return self._executor.submit(limited, self._memory_bytes, cpu_s, task.function, task.arguments)

    def finish(self, broken: bool = False) -> None:
        self.task = None
        self._count += 1
        if broken or self._count >= self._renew_after:
            self._leave()

    def _leave(self) -> None:
        executor = self.release()
        if executor is None:
            return
        # an executor that is shut without waiting forgets this thread, and can then no more be waited for
        manager: threading.Thread | None = getattr(executor, "_executor_manager_thread", None)
        executor.shutdown(wait=False, cancel_futures=True)
        self._leaving = [thread for thread in (*self._leaving, manager) if thread is not None and thread.is_alive()]

    def release(self) -> ProcessPoolExecutor | None:
        """The slot without its child; called under the pool's lock, so that only one shuts what is released."""
        executor, self._executor, self._count = self._executor, None, 0
        return executor

    def reap(self) -> None:
        """Come back when the children that were replaced are gone; not under the pool's lock, which they may want."""
        for thread in self._leaving:
            thread.join()

    def share(self) -> float:
        return float(self._shared[1])

    def resident_bytes(self) -> int:
        try:
            fields = Path(f"/proc/{int(self._shared[0])}/statm").read_text("ascii").split()
        except OSError:
            return 0
        return int(fields[1]) * resource.getpagesize()

    def kill(self) -> None:
        """Nothing where the child is gone: its number may be another process's by now."""
        if self._executor is not None or any(thread.is_alive() for thread in self._leaving):
            kill(self._shared)
