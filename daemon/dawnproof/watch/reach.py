"""Does a folder answer? A share or disk that hangs keeps whoever asks it, for hours, and cannot be told to let go; so
each folder is asked by a thread of its own, and nobody else waits longer than a moment."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Generic, TypeVar

T = TypeVar("T")
PATIENCE_S: Final = 3.0  # a share under load answers in well under a second


@dataclass(frozen=True, slots=True)
class Answer(Generic[T]):
    """What was found at a folder; `answers` is False where it did not answer in time, and nothing is known."""

    answers: bool
    found: T | None


class Reach(Generic[T]):
    """`ask` looks at one folder and may hang; an OSError is an answer too: nothing found. For several threads."""

    def __init__(self, ask: Callable[[Path], T | None], patience_s: float = PATIENCE_S) -> None:
        self._ask, self._patience_s = ask, patience_s
        self._askers: dict[Path, _Asker[T]] = {}
        self._lock = threading.Lock()

    def look(self, folder: Path) -> Answer[T]:
        """Look at one folder now. Waits `patience_s` once; while it still hangs, not at all."""
        return self._asker(folder).answer(self._patience_s)

    def look_at_all(self, folders: Iterable[Path]) -> dict[Path, Answer[T]]:
        """Look at several side by side: all of them together wait `patience_s` at most."""
        askers = {folder: self._asker(folder) for folder in folders}
        for asker in askers.values():
            asker.begin()
        return {folder: asker.answer(self._patience_s) for folder, asker in askers.items()}

    def close(self) -> None:
        """End the threads; one that hangs ends with its folder's answer, or with the process."""
        with self._lock:
            for asker in self._askers.values():
                asker.end()
            self._askers.clear()

    def _asker(self, folder: Path) -> _Asker[T]:
        with self._lock:
            return self._askers.setdefault(folder, _Asker(self._ask, folder))


class _Asker(Generic[T]):
    """One folder and the thread that asks it; one question at a time."""

    def __init__(self, ask: Callable[[Path], T | None], folder: Path) -> None:
        self._ask, self._folder = ask, folder
        self._turn = threading.Condition()
        self._asked = self._answered = 0
        self._since_s = 0.0
        self._found: T | None = None
        self._thread: threading.Thread | None = None
        self._ended = False

    def end(self) -> None:
        """No more questions."""
        with self._turn:
            self._ended = True
            self._turn.notify_all()

    def begin(self) -> int:
        """Ask, unless a question is open; gives the number of the open question."""
        with self._turn:
            if self._asked == self._answered:
                self._asked += 1
                self._since_s = time.monotonic()
                if self._thread is None:
                    # it must not keep the process from ending: a folder that hangs does so for good
                    self._thread = threading.Thread(target=self._run, name=f"asks {self._folder.name}", daemon=True)
                    self._thread.start()
                self._turn.notify_all()
            return self._asked

    def answer(self, patience_s: float) -> Answer[T]:
        """The answer to the open question, or to a new one."""
        with self._turn:
            number = self.begin()
            left_s = patience_s - (time.monotonic() - self._since_s)
            answers = self._turn.wait_for(lambda: self._answered >= number, max(0.0, left_s))
            return Answer(answers, self._found if answers else None)

    def _run(self) -> None:
        while True:
            with self._turn:
                self._turn.wait_for(lambda: self._ended or self._asked > self._answered)
                if self._ended:
                    return
            try:
                found = self._ask(self._folder)
            except OSError:
                found = None
            with self._turn:
                self._found = found
                self._answered = self._asked
                self._turn.notify_all()
