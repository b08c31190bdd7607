"""Does the loop still go round? A folder that hangs between being asked and being used keeps the loop with it; then
another thread says so, and says of what the daemon waits."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from .voice import Voice

LATE_S = 4.0  # a step of the loop that takes longer is said
LOOK_S = 0.5
KEY = "rounds"
WAITS_FOR = {
    "inbox": "the inbox",
    "files": "the files in the inbox",
    "desk": "the archive and rework folders",
    "jobs": "the archive and rework folders",
    "second": "the second copy's folder",
    "night": "the archive or the morning folder",
    "reasons": "the rework folder",
    "screen": "the screen",
}


class Rounds:
    """`step` is entered by the loop around each of its steps; `begin` and `end` start and stop the thread that looks
    on. `on_said` is called, in that thread, when something was said."""

    def __init__(self, voice: Voice, on_said: Callable[[], None] = lambda: None, late_s: float = LATE_S) -> None:
        self._voice, self._on_said, self._late_s = voice, on_said, late_s
        self._now: tuple[str, float] | None = None  # the step under way, and since when
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look_on, name="rounds", daemon=True)

    def begin(self) -> None:
        """Look on from now."""
        self._thread.start()

    def end(self) -> None:
        """No longer."""
        self._over.set()

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """A step of the loop; one that took too long is over, whatever came of it."""
        self._now = (name, time.monotonic())
        try:
            yield
        finally:
            self._now = None
            self._voice.calm(KEY)

    def _look_on(self) -> None:
        while not self._over.wait(LOOK_S):
            now = self._now
            if now is not None and time.monotonic() - now[1] > self._late_s:
                waits_for = WAITS_FOR.get(now[0], "a folder")
                self._voice.alarm(KEY, f"the daemon waits for {waits_for}: the disk or share is slow or hangs; nothing "
                                  "else goes on until it answers")  # fmt: skip
                self._on_said()
