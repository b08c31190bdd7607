"""Bands shown to many viewers side by side: each sees them in order and one at a time, none waits for the others."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from functools import partial

from .band import Band

BANDS_AT_ONCE = 12  # that wait for one viewer, beside the one it sees; what bounds the memory


@dataclass(eq=False)
class Lane:
    """One viewer: `see` takes a band, `spent_s` tells the seconds it has taken so far, `finish` follows the last band.
    `awaited`: something waits until this one has seen all, so it never lags behind."""

    see: Callable[[Band], None]
    spent_s: Callable[[], float]
    finish: Callable[[], None] | None = None
    awaited: bool = False
    waiting: deque[Callable[[], None]] = field(default_factory=deque)
    working: Future[None] | None = None

    def work_off(self) -> None:
        """Does what waits, and what comes meanwhile."""
        while self.waiting:
            self.waiting.popleft()()


class Lanes:
    """`threads`: where the viewers work; without, each band is seen by all before `show` returns, and none finishes."""

    def __init__(self, lanes: Sequence[Lane], threads: Executor | None) -> None:
        self._threads = threads
        self._at_once = [lane for lane in lanes if lane.awaited or threads is None]
        self._behind = [lane for lane in lanes if lane not in self._at_once]

    def show(self, band: Band) -> None:
        """Raises what a viewer raised at an earlier band, or at this one where it is seen at once."""
        for lane in sorted(self._behind, key=lambda each: -each.spent_s()):  # so that none is left over at the end
            self._give(lane, partial(lane.see, band))
        for lane in self._at_once:
            lane.see(band)

    def last_shown(self) -> None:
        """No band comes any more: the awaited have seen all, the others finish when they have."""
        for lane in self._behind:
            if lane.finish is not None:
                self._give(lane, lane.finish)

    def end(self) -> None:
        """Waits until every viewer has seen every band; raises what one of them raised."""
        for lane in self._behind:
            if lane.working is not None:
                lane.working.result()
            lane.work_off()  # what came just as the work ended

    def _give(self, lane: Lane, step: Callable[[], None]) -> None:
        if lane.working is not None and (lane.working.done() or len(lane.waiting) >= BANDS_AT_ONCE):
            lane.working.result()
            lane.working = None
        lane.waiting.append(step)
        if lane.working is None and self._threads is not None:
            lane.working = self._threads.submit(lane.work_off)
