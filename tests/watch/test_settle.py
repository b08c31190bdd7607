"""Settling: pure sequences of observations, no clock and no disk."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnproof.model import Identity
from dawnproof.watch.settle import Patience, State, Watched, found_wanting, judge, observe

PATIENCE = Patience(settle_s=10.0, give_up_s=1800.0)


def identity(size: int = 100, mtime_ns: int = 5, ino: int = 1) -> Identity:
    return Identity(dev=1, ino=ino, size=size, mtime_ns=mtime_ns, ctime_ns=mtime_ns)


def seen(*observations: tuple[float, Identity]) -> Watched:
    watched = None
    for now_s, found in observations:
        watched = observe(watched, found, now_s)
    assert watched is not None
    return watched


@pytest.mark.parametrize(("after_s", "state"), [(0, State.SETTLING), (9.9, State.SETTLING), (10.1, State.SETTLED)])
def test_unchanged_long_enough_is_settled(after_s: float, state: State) -> None:
    assert judge(seen((50.0, identity())), 50.0 + after_s, PATIENCE).state is state


@pytest.mark.parametrize("changed", [identity(size=101), identity(mtime_ns=6), identity(ino=2)])
def test_any_change_starts_the_time_again(changed: Identity) -> None:
    watched = seen((0.0, identity()), (9.0, changed))
    assert judge(watched, 12.0, PATIENCE).state is State.SETTLING
    assert judge(watched, 19.5, PATIENCE).state is State.SETTLED
    assert watched.first_s == 0.0


def test_large_files_and_those_without_a_lease_settle_longer() -> None:
    assert PATIENCE.settle_s_for(4 << 30) == 20.0
    assert PATIENCE.settle_s_for(0, lease_known=False) == 30.0
    watched = found_wanting(seen((0.0, identity())), "", lease_known=False)
    assert judge(watched, 29.0, PATIENCE).state is State.SETTLING
    assert judge(watched, 31.0, PATIENCE).state is State.SETTLED


def test_not_whole_waits_with_its_reason_and_is_given_up_in_the_end() -> None:
    watched = found_wanting(seen((0.0, identity())), "cut off")
    waiting = judge(watched, 60.0, PATIENCE)
    assert (waiting.state, waiting.reason, waiting.in_s) == (State.WAITING, "cut off", 1740.0)
    damaged = judge(watched, 1801.0, PATIENCE)
    assert damaged.state is State.DAMAGED
    assert "30 min" in damaged.reason
    assert "cut off" in damaged.reason
    grown = observe(watched, identity(size=200), 1802.0)
    assert (grown.problem, judge(grown, 1803.0, PATIENCE).state) == ("", State.SETTLING)


def test_when_the_evening_is_over_nothing_more_is_waited_for() -> None:
    """What has settled is judged at once, in words that say why; what still changes is not."""
    over = Patience(10, 1800, evening_over=True)
    watched = found_wanting(seen((0.0, identity())), "it ends in the middle of strip 3 of 9")
    verdict = judge(watched, 11.0, over)
    assert verdict.state is State.DAMAGED
    assert verdict.reason == ("not whole, and nothing was writing it when the daemon stopped: it ends in the middle of "
                              "strip 3 of 9")  # fmt: skip
    assert judge(watched, 9.0, over).state is State.SETTLING
    assert judge(seen((0.0, identity())), 11.0, over).state is State.SETTLED


def test_an_empty_file_is_never_settled() -> None:
    watched = seen((0.0, identity(size=0)))
    assert judge(watched, 60.0, PATIENCE).state is State.WAITING
    assert judge(watched, 3600.0, PATIENCE).state is State.DAMAGED


@pytest.mark.parametrize("mtime_ns", [0, 10**18 * 9, -(10**18)])
def test_file_times_in_the_future_or_past_hold_nothing_up(mtime_ns: int) -> None:
    assert judge(seen((0.0, identity(mtime_ns=mtime_ns))), 11.0, PATIENCE).state is State.SETTLED


def test_a_clock_that_steps_back_only_delays() -> None:
    watched = seen((1000.0, identity()))
    assert judge(watched, 400.0, PATIENCE).state is State.SETTLING
    assert judge(watched, 1011.0, PATIENCE).state is State.SETTLED


@given(st.lists(st.tuples(st.floats(0.1, 40), st.integers(0, 3)), min_size=1, max_size=30))
def test_settled_exactly_when_quiet_long_enough(steps: list[tuple[float, int]]) -> None:
    """Against the plain definition: settled when nothing changed in the last ten seconds."""
    now_s, changed_s, size, watched = 0.0, 0.0, -1, None
    for step_s, new_size in steps:
        now_s += step_s
        if new_size != size:
            size, changed_s = new_size, now_s
        watched = observe(watched, identity(size=1000 + size), now_s)
        quiet = now_s - changed_s >= PATIENCE.settle_s_for(1000 + size)
        assert (judge(watched, now_s, PATIENCE).state is State.SETTLED) == quiet
