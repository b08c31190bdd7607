"""Bands shown to many viewers side by side: each sees them in order and one at a time, none waits for the others."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import partial
from threading import Condition

from .band import Band

BANDS_AT_ONCE = 8  # that wait for one viewer, beside the one it sees; what bounds the memory


@dataclass(eq=False)
class Lane:
    """One viewer: `see` takes a band, `spent_s` tells the seconds it has taken so far, `finish` follows the last band.
    `awaited`: something waits for this one as soon as it has seen all."""

    see: Callable[[Band], None]
    spent_s: Callable[[], float]
    finish: Callable[[], None] | None = None
    awaited: bool = False
    steps: deque[Callable[[], None]] = field(default_factory=deque)
    in_hand: bool = False


class Lanes:
    """`threads`: where the viewers work; without, each band is seen by all before `show` returns, and none finishes.

    A thread that is free takes, of the lanes nobody has in hand, the awaited one, else the one that took longest so
    far, so that none is left over at the end; it keeps it until there is nothing to see.
    """

    def __init__(self, lanes: Sequence[Lane], threads: Executor | None) -> None:
        self._lanes = lanes
        self._threads = threads
        self._changed = Condition()
        self._error: BaseException | None = None

    def show(self, band: Band) -> None:
        """Raises what a viewer raised at an earlier band, or at this one where there are no threads."""
        if self._threads is None:
            for lane in self._lanes:
                lane.see(band)
            return
        with self._changed:
            self._wait(lambda: all(len(lane.steps) < BANDS_AT_ONCE for lane in self._lanes))
            for lane in self._lanes:
                self._give(lane, partial(lane.see, band))

    def last_shown(self) -> None:
        """No band comes any more: each finishes when it has seen its last."""
        if self._threads is None:
            return
        with self._changed:
            for lane in self._lanes:
                if lane.finish is not None:
                    self._give(lane, lane.finish)

    def end_awaited(self) -> None:
        """Waits until the awaited ones have done everything; raises what a viewer raised."""
        self._end([lane for lane in self._lanes if lane.awaited])

    def end(self) -> None:
        """Waits until all have done everything; raises what a viewer raised."""
        self._end(self._lanes)

    def _end(self, lanes: Sequence[Lane]) -> None:
        with self._changed:
            self._wait(lambda: not any(lane.steps or lane.in_hand for lane in lanes))

    def _wait(self, until: Callable[[], bool]) -> None:
        self._changed.wait_for(lambda: self._error is not None or until())
        if self._error is not None:
            raise self._error

    def _give(self, lane: Lane, step: Callable[[], None]) -> None:
        lane.steps.append(step)
        if len(lane.steps) == 1 and not lane.in_hand and self._threads is not None:
            self._threads.submit(self._work)  # once for each lane that nobody has in hand

    def _work(self) -> None:
        with self._changed:
            free = [lane for lane in self._lanes if lane.steps and not lane.in_hand]
            if not free:  # a viewer has raised
                return
            lane = max(free, key=lambda each: (each.awaited, each.spent_s()))
            lane.in_hand = True
        try:
            while (step := self._next(lane)) is not None:
                step()
        except BaseException as error:
            self._give_up(error)

    def _next(self, lane: Lane) -> Callable[[], None] | None:
        with self._changed:
            step = lane.steps.popleft() if lane.steps else None
            lane.in_hand = step is not None
            self._changed.notify_all()
            return step

    def _give_up(self, error: BaseException) -> None:
        with self._changed:
            self._error = self._error or error
            for lane in self._lanes:
                lane.steps.clear()
            self._changed.notify_all()
