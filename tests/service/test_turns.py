"""Fair turns between beds: a flood at one bed does not make another wait, also where places free one at a time."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from faults import evening


class OneAtATime(evening.InlinePool):
    """Everything handed over waits; one task a turn is done, in the order it came."""

    def __init__(self, memory: evening.Memory) -> None:
        super().__init__()
        self.memory = memory
        self._held: list[tuple[Future[Any], Callable[[], Any]]] = []
        self.order: list[str] = []

    def submit(
        self, what: str, subject: str, function: Callable[..., Any], *given: Any, long: bool = False
    ) -> Future[Any]:
        if what != "measuring":
            return super().submit(what, subject, function, *given, long=long)
        self.order.append(subject)
        future: Future[Any] = Future()
        self._held.append((future, lambda: super(OneAtATime, self).submit(what, subject, function, *given)))
        return future

    def watch(self) -> None:
        if self._held:
            future, run = self._held.pop(0)
            future.set_result(run().result())


def test_beds_take_turns_whenever_a_place_is_free(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "prints")
    for number in range(12):
        evening.scan(studio.inbox / "bed-a" / f"SL-{number:04d}_L.tif", number % 3)
    for number in range(4):
        evening.scan(studio.inbox / "bed-b" / f"SL-9{number:03d}_L.tif", number % 3)
    pool = OneAtATime(evening.Memory(tmp_path / "memory"))
    evening.run_until_idle(studio.root, pool)
    places = [i for i, name in enumerate(pool.order) if name.startswith("SL-9")]
    assert len(pool.order) == 16
    assert places == [1, 3, 5, 7] or places == [0, 2, 4, 6], places
