"""Bands shown to many viewers side by side: each sees them in order and one at a time, none waits for the others."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field

from .band import Band

BANDS_AT_ONCE = 4  # that wait for one viewer, beside the one it sees; what bounds the memory


@dataclass
class Lane:
    """One viewer: `see` takes a band, `spent_s` tells the seconds it has taken so far."""

    see: Callable[[Band], None]
    spent_s: Callable[[], float]
    waiting: deque[Band] = field(default_factory=deque)
    working: Future[None] | None = None

    def work_off(self) -> None:
        """Sees what waits, and what comes meanwhile."""
        while self.waiting:
            self.see(self.waiting.popleft())


class Lanes:
    """`threads`: where the viewers work; without, each band is seen by all before `show` returns."""

    def __init__(self, lanes: Sequence[Lane], threads: Executor | None) -> None:
        self._lanes = lanes
        self._threads = threads

    def show(self, band: Band) -> None:
        """Raises what a viewer raised at an earlier band, or at this one where there are no threads."""
        for lane in sorted(self._lanes, key=lambda each: -each.spent_s()):  # so that none is left over at the end
            if self._threads is None:
                lane.see(band)
                continue
            if lane.working is not None and (lane.working.done() or len(lane.waiting) >= BANDS_AT_ONCE):
                lane.working.result()
                lane.working = None
            lane.waiting.append(band)
            lane.working = lane.working or self._threads.submit(lane.work_off)

    def end(self) -> None:
        """Waits until every viewer has seen every band; raises what one of them raised."""
        for lane in self._lanes:
            if lane.working is not None:
                lane.working.result()
            lane.work_off()  # a band that came just as the work ended
