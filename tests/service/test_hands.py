"""A thread can be asked whether it lives and whether it is at work."""

from __future__ import annotations

import threading
import time

from dawnproof.service.hands import Hand


def test_one_thing_after_the_other() -> None:
    hand, order = Hand("filing"), list[int]()
    for number in range(20):
        hand.submit(order.append, number)
    hand.submit(lambda: None).result(timeout=5)
    assert order == list(range(20))
    hand.shutdown()


def test_it_works_while_something_is_under_way_or_waits() -> None:
    hand, go = Hand("filing"), threading.Event()
    assert not hand.works()
    before_s = time.monotonic()
    first = hand.submit(go.wait)
    second = hand.submit(lambda: "done")
    assert hand.works()
    go.set()
    assert second.result(timeout=5) == "done"
    assert first.done()
    assert before_s <= hand.begun_s() <= time.monotonic()
    hand.shutdown(wait=True)
    assert not hand.works()


def test_it_works_still_when_what_waited_was_withdrawn() -> None:
    hand, go, begun = Hand("filing"), threading.Event(), threading.Event()

    def hold() -> None:
        begun.set()
        go.wait()

    hand.submit(hold)
    withdrawn = hand.submit(lambda: None)
    assert begun.wait(5)
    hand.shutdown(wait=False, cancel_futures=True)
    assert withdrawn.cancelled()
    assert hand.works(), "the first is still held"
    go.set()
    hand.shutdown(wait=True)
    assert not hand.works()


def test_an_error_is_its_callers_and_the_thread_lives_on() -> None:
    hand = Hand("filing")
    assert hand.lives(), "nothing was asked of it yet"
    assert isinstance(hand.submit(lambda: 1 // 0).exception(timeout=5), ZeroDivisionError)
    assert hand.lives()
    assert hand.submit(lambda: 7).result(timeout=5) == 7
    hand.shutdown(wait=True)
    assert not hand.lives(), "its thread is over: nothing handed to it now would be done"
