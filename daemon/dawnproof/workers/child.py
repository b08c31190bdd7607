"""What a child of ours does by itself: it keeps its limits, ends with its parent and tells how far it is."""

from __future__ import annotations

import ctypes
import os
import resource
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

PR_SET_PDEATHSIG = 1
_shown: Any = None  # in a child: the numbers it shares with its parent


def set_for_children() -> None:
    """In the parent, before one is started: what libraries read from the environment as they are loaded."""
    os.environ["VIPS_BLOCK_UNTRUSTED"] = "1"
    # the checks run side by side already; threads of the matrix library on top of them only wait for each other
    os.environ["OPENBLAS_NUM_THREADS"] = "1"


def shared_with(context: Any) -> Any:
    """Numbers that parent and child both see: the child's process number, share done, whether to end, the parent's
    process number."""
    return context.Array("d", [0.0, 0.0, 0.0, float(os.getpid())], lock=False)


@contextmanager
def no_interrupts() -> Iterator[None]:
    """In the parent, around what starts a child: it inherits this, and Ctrl-C, which a terminal sends to every process
    of a command, does not strike before its `guard`. Queues and locks for it are made before: the helper process that
    counts those lets interrupts in again as it starts."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def kill(shared: Any) -> None:
    """In the parent: end the child, also one that is only just being born."""
    shared[2] = 1.0
    if shared[0]:
        with suppress(ProcessLookupError):
            os.kill(int(shared[0]), signal.SIGKILL)


def guard(memory_bytes: int, shared: Any, may_grow: bool = False) -> None:
    """First thing in a child: limits, no keyboard interrupt, an end with its parent. `may_grow`: its first task may
    have more memory than this."""
    global _shown
    _shown = shared
    shared[0] = float(os.getpid())
    if shared[2]:
        os._exit(1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    ctypes.CDLL(None, use_errno=True).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != int(shared[3]):  # it ended before it could be followed
        os._exit(1)
    _limit_memory(memory_bytes, may_grow)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    os.nice(5)


def limited(memory_bytes: int, cpu_s: float, function: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
    """In a child: one task, ended by the kernel when it computes for too long."""
    _limit_memory(memory_bytes)
    used = resource.getrusage(resource.RUSAGE_SELF)
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    most_s = int(used.ru_utime + used.ru_stime + max(cpu_s, 1.0)) + 1
    resource.setrlimit(resource.RLIMIT_CPU, (most_s if hard < 0 else min(most_s, hard), hard))
    return function(*arguments)


def report_share(done: float) -> None:
    """Called in a child: how much of the task is done, 0 to 1."""
    if _shown is not None:
        _shown[1] = done


def _limit_memory(memory_bytes: int, may_grow: bool = False) -> None:
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    most = memory_bytes if hard < 0 else min(memory_bytes, hard)
    resource.setrlimit(resource.RLIMIT_AS, (most, hard if may_grow else most))
