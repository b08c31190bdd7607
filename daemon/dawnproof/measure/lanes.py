"""Bands shown to many viewers side by side: each sees them in order and one at a time, none waits for the others."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from threading import Condition

from .band import Band

BANDS_AT_ONCE = 4  # shown to some viewers but not yet to all; what bounds the memory


@dataclass
class Lane:
    """One viewer: `see` takes a band, `spent_s` tells the seconds it has taken so far."""

    see: Callable[[Band], None]
    spent_s: Callable[[], float]
    waiting: deque[Band] = field(default_factory=deque)
    seen: int = 0
    busy: bool = False

    def behind_s(self) -> float:
        """How long what waits will take; a viewer that has seen nothing is thought slow."""
        return len(self.waiting) * (self.spent_s() / self.seen if self.seen else 1.0)


class Lanes:
    """`threads`: where the viewers work; without, each band is seen by all before `show` returns."""

    def __init__(self, lanes: Sequence[Lane], threads: Executor | None) -> None:
        self._lanes = lanes
        self._threads = threads
        self._changed = Condition()
        self._steps: deque[Future[None]] = deque()

    def show(self, band: Band) -> None:
        """Raises what a viewer raised at an earlier band, or at this one where there are no threads."""
        if self._threads is None:
            for lane in self._lanes:
                lane.see(band)
            return
        with self._changed:
            self._changed.wait_for(lambda: all(len(lane.waiting) < BANDS_AT_ONCE for lane in self._lanes))
            for lane in self._lanes:
                lane.waiting.append(band)
            self._changed.notify_all()
        self._steps.extend(self._threads.submit(self._step) for _ in self._lanes)
        while self._steps[0].done():
            self._steps.popleft().result()

    def end(self) -> None:
        """Waits until every viewer has seen every band; raises what one of them raised."""
        while self._steps:
            self._steps.popleft().result()

    def _step(self) -> None:
        """One band for the viewer that is furthest behind and free. There are as many steps as bands that wait."""
        with self._changed:
            while (lane := self._furthest_behind()) is None:
                self._changed.wait()
            band = lane.waiting.popleft()
            lane.busy = True
        try:
            lane.see(band)
        finally:
            with self._changed:
                lane.busy = False
                lane.seen += 1
                self._changed.notify_all()

    def _furthest_behind(self) -> Lane | None:
        free = [lane for lane in self._lanes if lane.waiting and not lane.busy]
        return max(free, key=Lane.behind_s, default=None)
