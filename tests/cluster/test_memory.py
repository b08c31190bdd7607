"""Memory of the helpers: a join goes where it fits, waits where there is no room yet, is done here where it fits
nowhere; and what a computer offered is never exceeded."""

from __future__ import annotations

import importlib.util
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from cluster.errands import Held, Hold, fail, hold

if importlib.util.find_spec("distributed") is None:
    pytest.skip("dask.distributed is not installed (dawnproof[cluster])", allow_module_level=True)

from cluster.hosts import House, Started, wait_for
from faults import evening

from dawnproof.cluster.engine import ClusterPool
from dawnproof.workers.away import Limits, run_limited

HERE = Held(0, 0.0, 0.0)
SILENCE_S = 30.0


class Noted(evening.InlinePool):
    """The studio's own children: what comes to them is noted."""

    def __init__(self) -> None:
        super().__init__()
        self.came: list[str] = []

    def submit(self, what: str, subject: str, *given: Any, long: bool = False, **options: Any) -> Future[Any]:
        self.came.append(subject)
        done: Future[Any] = Future()
        done.set_result(HERE)
        return done


class Desk:
    """An engine with its scheduler, and helpers as they are asked for. A child there may map 4 GB whatever it said."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self.house = House(folder, stack)
        self.house.scheduler()
        self.here = Noted()
        limited: Callable[[int], Any] = lambda needs_mb: partial(run_limited, Limits(4096, 60.0, 50))  # noqa: E731
        self.engine = ClusterPool(self.here, limited, self.house.address, None, {}, SILENCE_S)
        stack.callback(self.engine.close, False)

    def helper(self, name: str, memory_mb: int, slots: int = 1) -> Started:
        before = self.engine.places() if self.engine._helpers.places() else 0
        started = self.house.worker(name, memory_mb=memory_mb, slots=slots)
        wait_for(lambda: self.engine._helpers.places() == before + slots, f"{name} is known")
        return started

    def join(self, subject: str, says_mb: int, takes_mb: int = 1, seconds: float = 0.0) -> Future[Held]:
        return self.engine.submit("joining", subject, hold, Hold(says_mb, takes_mb, seconds), long=True)

    def said(self) -> str:
        return "\n".join(news.text for news in self.engine.news())


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with ExitStack() as stack:
        yield Desk(tmp_path, stack)


def test_a_big_join_goes_where_it_fits_and_one_that_fits_nowhere_is_done_here(desk: Desk) -> None:
    small, large = desk.helper("annex", 900), desk.helper("barn", 2000)
    big = [desk.join(f"SL-{i}", says_mb=1500) for i in range(3)]
    assert {one.result(60).parent for one in big} == {large.process.pid}
    small.kill()
    assert desk.join("SL-9", says_mb=2500).result(60) is HERE
    assert desk.here.came == ["SL-9"]
    assert "SL-9 wants 2500 MB, which no other computer offers; it is done here" in desk.said()


def test_large_joins_wait_for_room(desk: Desk) -> None:
    """Two places, but memory for one of them: one after the other. Small ones run side by side."""
    desk.helper("annex", 1000, slots=2)
    one, other = (desk.join(f"SL-{i}", says_mb=600, seconds=1.5).result for i in range(2))
    assert not overlap(one(90), other(90))
    one, other = (desk.join(f"SL-{i}", says_mb=400, seconds=4.0).result for i in range(2))
    assert overlap(one(90), other(90))
    assert desk.here.came == []


def test_what_a_computer_offered_is_never_exceeded(desk: Desk) -> None:
    """A task that said 300 MB and takes more than all that is offered: it is ended there, done here, and said."""
    worker = desk.helper("annex", 1000)
    with Weighed(worker.process.pid) as weighed:
        assert desk.join("SL-1", says_mb=300, takes_mb=1400, seconds=20.0).result(60) is HERE
        assert weighed.last_mb() < 1000
        assert desk.join("SL-2", says_mb=300, takes_mb=300, seconds=0.5).result(60).parent == worker.process.pid
    assert weighed.longest_over_s(1000) < 2.0
    assert desk.here.came == ["SL-1"]
    assert "SL-1 outgrew the 1000 MB of annex" in desk.said()


def test_what_another_computer_cannot_do_is_no_verdict_on_a_file(desk: Desk) -> None:
    """Its error may be its own: the store went away there, say. Only what fails here as well is the file's."""
    desk.helper("annex", 1000)
    done = desk.engine.submit("measuring", "SL-1_L.tif", fail, Hold(300, 1, 0.0))
    assert done.result(60) is HERE
    assert "SL-1_L.tif: annex could not do it (the picture ends early); it is done here" in desk.said()


def test_the_last_helper_that_goes_is_not_waited_for(desk: Desk) -> None:
    """Nobody is left who could take its task up: it is done here at once, not after a silence."""
    worker = desk.helper("annex", 1000)
    join = desk.join("SL-1", says_mb=300, seconds=60.0)
    wait_for(lambda: any(task.address for task in desk.engine._out.values()), "the join is there")
    worker.kill()
    begun = time.monotonic()
    assert join.result(60) is HERE
    assert time.monotonic() - begun < SILENCE_S / 2
    assert "annex went away in the middle of SL-1" in desk.said()


def overlap(one: Held, other: Held) -> bool:
    return max(one.begun_s, other.begun_s) < min(one.ended_s, other.ended_s)


class Weighed:
    """What the children of a process hold, looked at from outside."""

    def __init__(self, number: int) -> None:
        self._number, self._over = number, threading.Event()
        self.seen: list[tuple[float, float]] = []
        self._thread = threading.Thread(target=self._look, daemon=True)

    def __enter__(self) -> Weighed:
        self._thread.start()
        return self

    def __exit__(self, *error: object) -> None:
        self._over.set()
        self._thread.join()

    def last_mb(self) -> float:
        return self.seen[-1][1]

    def longest_over_s(self, most_mb: float) -> float:
        """How long it lasted that they held more, at the longest."""
        longest, since = 0.0, None
        for then, held in self.seen:
            since = (since or then) if held > most_mb else None
            longest = max(longest, then - since if since else 0.0)
        return longest

    def _look(self) -> None:
        while not self._over.wait(0.05):
            self.seen.append((time.monotonic(), sum(resident_mb(child) for child in children(self._number))))


def children(number: int) -> list[int]:
    found = []
    try:
        for thread in Path(f"/proc/{number}/task").iterdir():
            found += [int(child) for child in (thread / "children").read_text("ascii").split()]
    except OSError:
        return []
    return [*found, *(below for child in found for below in children(child))]


def resident_mb(number: int) -> float:
    try:
        return int(Path(f"/proc/{number}/statm").read_text("ascii").split()[1]) * 4096 / 1e6
    except OSError:
        return 0.0
