"""Viewers side by side: each in order and alone, none far ahead, and what one raises is told."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from dawnproof.measure.band import Band
from dawnproof.measure.lanes import BANDS_AT_ONCE, Lane, Lanes


def bands(count: int) -> list[Band]:
    return [Band(row, np.zeros((1, 4, 3), np.uint16)) for row in range(count)]


class Viewer:
    """Takes `each_s` a band; remembers the rows it saw and whether it was ever called twice at once."""

    def __init__(self, each_s: float = 0.0) -> None:
        self.rows: list[int] = []
        self.together = False
        self._each_s, self._busy = each_s, threading.Lock()

    def see(self, band: Band) -> None:
        self.together |= not self._busy.acquire(blocking=False)
        time.sleep(self._each_s)
        self.rows.append(band.first_row)
        self._busy.release()

    def lane(self) -> Lane:
        return Lane(self.see, lambda: len(self.rows) * self._each_s)


@pytest.mark.parametrize("threads", [1, 2, 5])
def test_each_viewer_sees_every_band_in_order_and_one_at_a_time(threads: int) -> None:
    viewers = [Viewer(0.003), Viewer(), Viewer(0.001)]
    with ThreadPoolExecutor(threads) as pool:
        lanes = Lanes([viewer.lane() for viewer in viewers], pool)
        for band in bands(40):
            lanes.show(band)
        lanes.end()
    assert [viewer.rows for viewer in viewers] == [list(range(40))] * 3
    assert not any(viewer.together for viewer in viewers)


def test_a_slow_viewer_bounds_how_far_the_others_run_ahead() -> None:
    slow, quick = Viewer(), Viewer()
    may_go = threading.Event()

    def held(band: Band) -> None:
        may_go.wait(10.0)
        slow.see(band)

    shown: list[int] = []
    with ThreadPoolExecutor(2) as pool:
        lanes = Lanes([Lane(held, lambda: 0.0), quick.lane()], pool)

        def show_all() -> None:
            for band in bands(30):
                lanes.show(band)
                shown.append(band.first_row)

        showing = threading.Thread(target=show_all)
        showing.start()
        deadline = time.monotonic() + 10.0
        while len(quick.rows) < BANDS_AT_ONCE and time.monotonic() < deadline:
            time.sleep(0.01)
        time.sleep(0.1)
        # one in its hands, so many waiting: no more are taken
        assert len(shown) <= BANDS_AT_ONCE + 1
        assert len(quick.rows) <= BANDS_AT_ONCE + 1
        may_go.set()
        showing.join()
        lanes.end()
    assert slow.rows == quick.rows == list(range(30))


def test_what_a_viewer_raises_is_told_and_the_others_end() -> None:
    quick = Viewer()

    def broken(band: Band) -> None:
        if band.first_row == 3:
            raise ArithmeticError("broken")

    def show_all() -> None:
        with ThreadPoolExecutor(2) as pool:
            lanes = Lanes([Lane(broken, lambda: 0.0), quick.lane()], pool)
            for band in bands(20):
                lanes.show(band)
            lanes.end()

    with pytest.raises(ArithmeticError):
        show_all()
    assert quick.rows == sorted(quick.rows)


def test_without_threads_all_have_seen_a_band_before_the_next() -> None:
    seen: list[tuple[str, int]] = []
    lanes = Lanes([Lane(lambda b, n=name: seen.append((n, b.first_row)), lambda: 0.0) for name in "ab"], None)  # type: ignore[misc]
    for band in bands(2):
        lanes.show(band)
    lanes.end()
    assert seen == [("a", 0), ("b", 0), ("a", 1), ("b", 1)]


def test_what_is_awaited_never_lags_behind_and_the_others_finish_after_their_last_band() -> None:
    awaited, slow, may_go = Viewer(), Viewer(), threading.Event()
    finished: list[int] = []

    def held(band: Band) -> None:
        may_go.wait(10.0)
        slow.see(band)

    with ThreadPoolExecutor(2) as pool:
        behind = Lane(held, lambda: 9.0, lambda: finished.append(len(slow.rows)))
        lanes = Lanes([behind, Lane(awaited.see, lambda: 0.0, awaited=True)], pool)
        for band in bands(BANDS_AT_ONCE):
            lanes.show(band)
        lanes.last_shown()
        assert awaited.rows == list(range(BANDS_AT_ONCE))
        assert (slow.rows, finished) == ([], [])
        may_go.set()
        lanes.end()
    assert finished == [BANDS_AT_ONCE]


def test_what_a_viewer_raises_when_it_finishes_is_told() -> None:
    def broken() -> None:
        raise ArithmeticError("broken")

    with ThreadPoolExecutor(2) as pool:
        lanes = Lanes([Lane(lambda band: None, lambda: 0.0, broken), Viewer().lane()], pool)
        lanes.show(bands(1)[0])
        lanes.last_shown()
        with pytest.raises(ArithmeticError):
            lanes.end()
