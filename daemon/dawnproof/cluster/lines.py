"""The line in use, taken up anew when it is lost; and the old ones, as long as they still wait for something."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from .link import Line, LineState

COME_ABOUT_S = 15.0  # a connection that takes longer does not come about
MOST_STUCK = 4  # lines that still wait for something, a share that hangs say; before there are more, no new one is made


class Say(Protocol):
    """Tells how the line stands; `over` when it stands well again."""

    def __call__(self, text: str, over: bool = False) -> None: ...


class Lines:
    """`line` is None while there is none. A line whose last look is older than `silence_s` is lost as one that broke;
    the next is made `retry_s` later."""

    def __init__(self, make: Callable[[], Line], say: Say, silence_s: float, retry_s: float) -> None:
        self._make, self._say, self._silence_s, self._retry_s = make, say, silence_s, retry_s
        self.line: Line | None = None
        self._next_at_s = 0.0
        self._old: list[Line] = []

    def none_was_lost(self) -> bool:
        """Whether this is still the first line, or the wait for it."""
        return self._next_at_s == 0.0

    def tend(self, now: float) -> bool:
        """Make a line where there is none, say how the one there is stands; True when it is to be dropped."""
        line = self.line
        if line is None:
            self._old = [old for old in self._old if not old.has_ended()]
            if now >= self._next_at_s and len(self._old) < MOST_STUCK:
                self.line = self._make()
            return False
        most_s = self._silence_s if line.state is LineState.UP else max(self._silence_s, COME_ABOUT_S)
        silent = line.state is not LineState.LOST and now - line.look.at_s > most_s
        if line.state is LineState.UP and not silent:
            self._tell(line.name, "", up=True)
        elif line.state is LineState.LOST or silent:
            why = "it says nothing" if silent else line.why or "the connection broke"
            self._tell(line.name, why, up=False)
            return True
        return False

    def drop(self, now: float) -> None:
        """Hang up, if there is a line."""
        if self.line is not None:
            self.line.close()
            self._old.append(self.line)
        self.line, self._next_at_s = None, now + self._retry_s

    def _tell(self, name: str, why: str, up: bool) -> None:
        self._say(f"the scheduler {name} cannot be reached ({why}); all work is done here meanwhile", over=up)
