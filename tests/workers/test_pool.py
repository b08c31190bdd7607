"""Children: short before long, a death takes only its own task along, limits hold, no child is lost with a thread."""

from __future__ import annotations

import errno
import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, wait
from pathlib import Path
from typing import Any

import pytest
from workers.child_tasks import Wanting, address_limits, die, keep, number_of_child, refuse, rest, spin, take, want

from dawnproof.errors import NotAScan, WorkerDied
from dawnproof.workers import pool as pool_module
from dawnproof.workers.ahead import Ahead
from dawnproof.workers.pool import Pool

MAKER = Callable[..., Pool]
TESTS = Path(__file__).resolve().parents[1]


@pytest.fixture
def make() -> Iterator[MAKER]:
    made: list[Pool] = []

    def maker(slots: int = 1, memory_mb: int = 3000, wall_s: float = 60.0, renew_after: int = 50) -> Pool:
        made.append(Pool(slots, memory_mb, wall_s, renew_after))
        return made[-1]

    yield maker
    for pool in made:
        pool.close(wait=False)


def result(pool: Pool, future: Future[Any], within_s: float = 60.0) -> Any:
    until = time.monotonic() + within_s
    while not future.done() and time.monotonic() < until:
        pool.watch()
        wait([future], timeout=0.1)
    return future.result(timeout=0)


def test_errors_of_the_task_come_back_as_they_are(make: MAKER) -> None:
    pool = make()
    with pytest.raises(NotAScan, match="it is no TIFF"):
        result(pool, pool.submit("measuring", "a.tif", refuse))
    assert result(pool, pool.submit("measuring", "a.tif", number_of_child)) != os.getpid()


def test_a_child_that_dies_takes_only_its_own_task_along(make: MAKER) -> None:
    pool = make()
    dead = pool.submit("measuring", "bad.tif", die)
    alive = [pool.submit("measuring", f"{i}.tif", number_of_child) for i in range(3)]
    with pytest.raises(WorkerDied, match="it ended by itself"):
        result(pool, dead)
    assert len({result(pool, f) for f in alive}) == 1, "one new child does the rest"


def test_children_are_renewed_and_their_successors_live(make: MAKER) -> None:
    """A child must not die because the thread that happened to start it ends."""
    pool = make(slots=2, renew_after=1)
    futures = [pool.submit("measuring", f"{i}.tif", rest, 0.5) for i in range(6)]
    assert len({result(pool, f) for f in futures}) == 6


def test_what_runs_too_long_is_ended(make: MAKER) -> None:
    pool = make(wall_s=1.0)
    with pytest.raises(WorkerDied, match="longer than 1 s"):
        result(pool, pool.submit("measuring", "slow.tif", rest, 60.0))


def test_what_computes_too_long_is_ended_by_the_kernel(make: MAKER, monkeypatch: pytest.MonkeyPatch) -> None:
    """The parent's clock may stand still with the parent; the kernel's does not."""
    monkeypatch.setattr(pool_module, "CPU_SHARE", 0.01)
    pool = make(wall_s=100.0)
    future = pool.submit("measuring", "loop.tif", spin)
    wait([future], timeout=60)
    with pytest.raises(WorkerDied):
        future.result(timeout=0)


def test_a_child_begun_ahead_does_the_first_task_within_the_pools_limits() -> None:
    ahead = Ahead(number_of_child)
    pool = Pool(1, 1500, 60.0, 50, ahead)
    try:
        number = result(pool, pool.submit("measuring", "a.tif", number_of_child))
        assert number == int(ahead.shared[0]), "no other child was started"
        with pytest.raises(WorkerDied, match="too much memory"):
            result(pool, pool.submit("measuring", "large.tif", take, 2000))
    finally:
        pool.close(wait=False)


@pytest.mark.parametrize("memory_mb", [1500, 20_000])
def test_a_child_begun_ahead_has_what_its_pool_allows_be_it_less_or_more(memory_mb: int) -> None:
    pool = Pool(1, memory_mb, 60.0, 50, Ahead(number_of_child))
    try:
        assert result(pool, pool.submit("measuring", "a.tif", address_limits)) == (memory_mb << 20, memory_mb << 20)
    finally:
        pool.close(wait=False)


@pytest.mark.parametrize("rest_s", [0.0, 0.02, 0.5])
def test_a_child_begun_ahead_can_be_ended_at_any_time(rest_s: float) -> None:
    before = set(multiprocessing.active_children())
    ahead = Ahead(number_of_child)
    time.sleep(rest_s)
    ahead.end()
    ahead.starter.shutdown(wait=True)
    until = time.monotonic() + 30
    while (left := set(multiprocessing.active_children()) - before) and time.monotonic() < until:
        time.sleep(0.05)
    assert not left


ENVIRONMENT = {**os.environ, "PYTHONPATH": f"{TESTS.parent / 'daemon'}:{TESTS}"}
BEGUN_AHEAD = """
from dawnproof.workers.ahead import Ahead
from dawnproof.workers.pool import Pool
from workers.child_tasks import command_line, number_of_child, rest
pool = Pool(1, 3000, 60.0, 1, Ahead(command_line))
"""
TWO_CHILDREN = """
first, second = [pool.submit("measuring", name, command_line).result(60) == command_line() for name in "ab"]
pool.close(wait=False)
print("forked" if first else "spawned", "forked" if second else "spawned")
"""
AT_WORK = """
resting = pool.submit("measuring", "a", rest, 60.0)
while not pool.children():
    pass
print(*pool.children(), flush=True)
resting.result()
"""


@pytest.mark.parametrize(("before", "first"), [("import sys", "forked"), ("import numpy", "spawned")])
def test_only_a_child_begun_ahead_and_before_any_thread_is_forked(before: str, first: str) -> None:
    """A forked child bears the command line of its owner."""
    command = [sys.executable, "-c", before + BEGUN_AHEAD + TWO_CHILDREN]
    ran = subprocess.run(command, env=ENVIRONMENT, capture_output=True, text=True, timeout=120)
    assert ran.stdout.split() == [first, "spawned"], ran.stderr


def test_a_forked_child_ends_with_its_owner_however_that_ends() -> None:
    command = [sys.executable, "-c", BEGUN_AHEAD + AT_WORK]
    with subprocess.Popen(command, env=ENVIRONMENT, stdout=subprocess.PIPE, text=True) as owner:
        assert owner.stdout is not None
        child = int(owner.stdout.readline())
        assert lives(child)
        owner.kill()
    until = time.monotonic() + 30
    while lives(child):
        assert time.monotonic() < until
        time.sleep(0.05)


def lives(process: int) -> bool:
    """Also not where it has ended and nobody has asked how."""
    try:
        return Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def roomy(room_mb: int) -> Pool:
    return Pool(2, 3000, 120.0, 50, room_mb=room_mb)


def overlapping(spans: list[tuple[float, float]]) -> bool:
    (first, second) = sorted(spans)
    return second[0] < first[1]


@pytest.mark.parametrize(("room_mb", "together"), [(1000, False), (1300, True)])
def test_what_needs_more_than_there_is_room_for_waits(room_mb: int, together: bool) -> None:
    pool = roomy(room_mb)
    try:
        asked = [pool.submit("measuring", f"{i}.tif", want, Wanting(600, 1, 3.0)) for i in range(2)]
        assert overlapping([result(pool, future) for future in asked]) is together
    finally:
        pool.close(wait=False)


def test_a_join_that_would_fill_the_room_waits_until_the_scans_are_done() -> None:
    pool = roomy(1000)
    try:
        scan = pool.submit("measuring", "a.tif", want, Wanting(600, 1, 2.0))
        join = pool.submit("joining", "b", want, Wanting(5000, 1, 0.1), long=True)
        assert not overlapping([result(pool, scan), result(pool, join)]), "larger than the room: by itself"
    finally:
        pool.close(wait=False)


def test_what_outgrows_the_room_beside_another_is_done_again_by_itself() -> None:
    pool = roomy(700)
    try:
        asked = [pool.submit("measuring", f"{i}.tif", want, Wanting(0, mb, 4.0)) for i, mb in enumerate((400, 450))]
        spans = [result(pool, future, 90.0) for future in asked]
        assert not overlapping(spans), "each ended well, and not beside the other"
    finally:
        pool.close(wait=False)


def test_memory_has_a_limit(make: MAKER) -> None:
    pool = make(memory_mb=1500)
    with pytest.raises(WorkerDied, match="too much memory"):
        result(pool, pool.submit("measuring", "bomb.tif", take, 4000))
    with pytest.raises(WorkerDied, match="needed more than 1125 MB"):
        result(pool, pool.submit("measuring", "fat.tif", keep, 1250, 60.0))


def test_short_tasks_go_first_and_long_ones_never_take_every_slot(make: MAKER) -> None:
    pool = make(slots=2)
    joins = [pool.submit("joining", f"J{i}", rest, 0.6, long=True) for i in range(3)]
    scan = pool.submit("measuring", "a.tif", number_of_child)
    result(pool, scan)
    assert not joins[1].done()
    for future in joins:
        result(pool, future)


def test_no_descriptors_left_is_no_end(make: MAKER, monkeypatch: pytest.MonkeyPatch) -> None:
    """A child that cannot be started is a reason to try again, not a slot lost for good."""
    pool = make()

    def none_left(*given: Any, **options: Any) -> Any:
        raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))

    with monkeypatch.context() as patch:
        patch.setattr(pool_module, "ProcessPoolExecutor", none_left)
        with pytest.raises(WorkerDied, match="could not be started"):
            result(pool, pool.submit("measuring", "a.tif", number_of_child))
    assert result(pool, pool.submit("measuring", "a.tif", number_of_child)) != os.getpid()


def test_closing_ends_what_runs_and_cancels_what_waits(make: MAKER) -> None:
    pool = make()
    running = pool.submit("measuring", "a.tif", rest, 60.0)
    waiting = pool.submit("measuring", "b.tif", rest, 60.0)
    until = time.monotonic() + 30
    while not pool.children():
        assert time.monotonic() < until
        time.sleep(0.05)
    begun = time.monotonic()
    pool.close(wait=False)
    assert time.monotonic() - begun < 5
    assert waiting.cancelled()
    with pytest.raises(WorkerDied):
        running.result(timeout=10)


def managers() -> set[threading.Thread]:
    """The threads that look after children of this process, each as long as its child is not gone."""
    return {thread for thread in threading.enumerate() if type(thread).__name__ == "_ExecutorManagerThread"}


def test_reaping_waits_also_for_a_child_that_was_to_be_replaced(make: MAKER) -> None:
    """Of a pool that renews its child after every task, none is left to end when the result is told."""
    before = managers()
    pool = make(renew_after=1)
    number = result(pool, pool.submit("joining", "a", number_of_child, long=True))
    assert pool._slots[0]._executor is None, "let go before the result is told"
    pool.close(wait=False, reap=True)
    assert not managers() - before
    assert not Path(f"/proc/{number}").exists()


def test_reaping_waits_also_for_a_child_that_was_killed(make: MAKER) -> None:
    before = managers()
    pool = make()
    resting = pool.submit("measuring", "a.tif", rest, 60.0)
    until = time.monotonic() + 30
    while not pool.children():
        assert time.monotonic() < until
        time.sleep(0.05)
    os.kill(pool.children()[0], signal.SIGKILL)
    assert isinstance(resting.exception(timeout=30), WorkerDied)
    assert pool._slots[0]._executor is None, "let go before the death is told"
    pool.close(wait=False, reap=True)
    assert not managers() - before


def test_closing_leaves_alone_who_has_the_number_of_a_child_that_is_gone(make: MAKER) -> None:
    pool = make(renew_after=1)
    result(pool, pool.submit("measuring", "a.tif", number_of_child))
    slot = pool._slots[0]
    slot.reap()
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as other:
        slot._shared[0] = float(other.pid)
        pool.close(wait=False)
        assert other.poll() is None
        other.communicate(b"\n", timeout=30)
    assert other.returncode == 0


def test_children_that_are_gone_are_not_kept_in_mind(make: MAKER) -> None:
    """A daemon renews its children for months."""
    pool = make(renew_after=1)
    for number in range(8):
        result(pool, pool.submit("measuring", f"{number}.tif", number_of_child))
    assert 1 <= len(pool._slots[0]._leaving) <= 4


class _NeverBegins:
    """An executor whose task waits until it is shut down."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        self._future: Future[Any] = Future()

    def submit(self, *arguments: Any) -> Future[Any]:
        return self._future

    def shutdown(self, wait: bool, cancel_futures: bool) -> None:
        if cancel_futures:
            self._future.cancel()


def test_a_task_its_child_never_began_ends_with_the_pool(monkeypatch: pytest.MonkeyPatch, make: MAKER) -> None:
    monkeypatch.setattr(pool_module, "ProcessPoolExecutor", _NeverBegins)
    pool = make()
    future = pool.submit("measuring", "a.tif", number_of_child)
    until = time.monotonic() + 30
    while pool.progress() == () and time.monotonic() < until:
        time.sleep(0.01)
    pool.close(wait=False)
    with pytest.raises(WorkerDied, match="ended"):
        future.result(timeout=10)
