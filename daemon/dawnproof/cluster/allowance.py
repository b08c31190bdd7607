"""What a helper offers is what it gives: its children are weighed together, and the heaviest is ended when they weigh
more than the computer's owner allowed. The task it had is done elsewhere."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

LOOK_S = 0.25


class Allowance:
    """Of the process it is made in, for all tasks together."""

    def __init__(self) -> None:
        self.most_mb = 0
        self._ended_s = float("-inf")

    def begin(self, most_mb: int) -> None:
        """Weigh from now on, for as long as the process lives."""
        self.most_mb = most_mb
        threading.Thread(target=self._watch, name="allowance", daemon=True).start()

    def was_kept_since(self, then_s: float) -> bool:
        """Whether nobody had to be ended for its weight since this moment of the monotonic clock."""
        return self._ended_s < then_s

    def _watch(self) -> None:
        while True:
            weights = {number: _resident_mb(number) for number in _below(os.getpid())}
            if sum(weights.values()) > self.most_mb:
                self._ended_s = time.monotonic()
                with suppress(ProcessLookupError):
                    os.kill(max(weights, key=lambda number: weights[number]), signal.SIGKILL)
            time.sleep(LOOK_S)


def _below(number: int) -> Iterator[int]:
    """All processes that come from this one."""
    with suppress(OSError):
        for thread in Path(f"/proc/{number}/task").iterdir():
            for child in (thread / "children").read_text("ascii").split():
                yield int(child)
                yield from _below(int(child))


def _resident_mb(number: int) -> float:
    try:
        pages = int(Path(f"/proc/{number}/statm").read_text("ascii").split()[1])
    except OSError:
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1_000_000


offered = Allowance()  # of this process, where it is a helper's
