"""On another computer: a task still runs in a child with limits, so that a hostile scan takes no worker along."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import wait
from dataclasses import dataclass
from typing import Any

from .pool import Pool

TELL_S = 0.5
_pools: dict[Limits, Pool] = {}
_lock = threading.Lock()


@dataclass(frozen=True, slots=True)
class Limits:
    """What a child may use: address space in MB, wall time in s; after how many tasks it is renewed."""

    memory_mb: int
    wall_s: float
    renew_after: int


def run_limited(
    limits: Limits, slots: int, what: str, subject: str, function: Callable[..., Any], ask: Any,
    told: Callable[[float], None],
) -> Any:  # fmt: skip
    """Run `function(ask)` in one of this process's `slots` children, telling the share done meanwhile."""
    pool = _pool(limits, slots)
    future = pool.submit(what, subject, function, ask)
    while not wait([future], timeout=TELL_S).done:
        pool.watch()
        told(next((p.share for p in pool.progress() if (p.what, p.subject) == (what, subject)), 0.0))
    return future.result()


def _pool(limits: Limits, slots: int) -> Pool:
    with _lock:
        if limits not in _pools:
            _pools[limits] = Pool(slots, limits.memory_mb, limits.wall_s, limits.renew_after)
        return _pools[limits]
