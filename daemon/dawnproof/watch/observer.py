"""Events as hints: the one home of watchdog. Whatever is missed, the full scan finds; whatever is seen comes sooner.

Measured of watchdog 7.1: an exception in a handler ends dispatch for good, an overflow of the kernel's queue is only
logged, and a folder that is unmounted, deleted or replaced is followed no more without a word. Hence a handler that
cannot raise, a listener on that log, and a comparison of each root's identity at every tick.
"""

from __future__ import annotations

import logging
import os
import queue
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from watchdog.events import (
    DirCreatedEvent,
    DirMovedEvent,
    FileClosedEvent,
    FileCreatedEvent,
    FileMovedEvent,
    FileSystemEvent,
    FileSystemEventHandler,
)
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver, ObservedWatch

from ..model import shown

EVENTS: Final[list[type[FileSystemEvent]]] = [
    FileCreatedEvent,
    FileMovedEvent,
    FileClosedEvent,
    DirCreatedEvent,
    DirMovedEvent,
]
OVERFLOW_LOG: Final = "watchdog.observers.inotify_c"


@dataclass(frozen=True, slots=True)
class Hint:
    """Look at this path; None: look at everything, because `why`."""

    path: Path | None
    why: str


@dataclass(frozen=True, slots=True)
class RootIdentity:
    """Which folder stands at a root's name: a mount, an unmount or a replacement changes it."""

    dev: int
    ino: int
    is_mount: bool

    @classmethod
    def of(cls, root: Path) -> RootIdentity | None:
        """None when there is no folder to be had."""
        try:
            state = root.stat()
            return cls(state.st_dev, state.st_ino, os.path.ismount(root)) if root.is_dir() else None
        except OSError:
            return None


@dataclass(frozen=True, slots=True)
class RootHealth:
    """How one root is being watched; `problem` is '' while events come."""

    root: Path
    there: bool
    problem: str


class InboxObserver:
    """One watchdog observer for all roots. `hints` is the queue the daemon reads; call `tend` at every tick."""

    def __init__(self, roots: Sequence[Path], hints: queue.Queue[Hint]) -> None:
        self._hints = hints
        self._handler = _Hinting(self._hint)
        self._overflow = _Overflow(self._hint)
        self._observer: BaseObserver = Observer()
        self._watches: dict[Path, ObservedWatch | None] = dict.fromkeys(roots)
        self._known: dict[Path, RootIdentity | None] = dict.fromkeys(roots)
        self._problems: dict[Path, str] = dict.fromkeys(roots, "not watched yet")

    def start(self) -> None:
        logging.getLogger(OVERFLOW_LOG).addHandler(self._overflow)
        self._observer.start()
        self.tend()

    def stop(self) -> None:
        # its emitter may look once more after it was told to stop, and complains of that on the terminal
        logging.getLogger("watchdog.observers.inotify").addFilter(_not_of_the_end)
        logging.getLogger(OVERFLOW_LOG).removeHandler(self._overflow)
        self._observer.stop()
        if self._observer.is_alive():
            self._observer.join(timeout=5)

    def lives(self) -> bool:
        """Whether events are passed on."""
        return self._observer.is_alive()

    def tend(self) -> tuple[RootHealth, ...]:
        """Compare every root with what was watched, watch again what is new or back, and tell how each one is."""
        if not self._observer.is_alive():
            self._begin_again()
        return tuple(self._tended(root) for root in self._watches)

    def _tended(self, root: Path) -> RootHealth:
        now = RootIdentity.of(root)
        watch = self._watches[root]
        if watch is not None and (now != self._known[root] or not self._emits(watch)):
            self._forget(root, watch)
            self._hint(None, f"{shown(str(root))} was replaced, unmounted or lost from sight")
        if now is None:
            self._problems[root] = "the folder is not there; mount it or make it again"
        elif self._watches[root] is None:
            self._watch(root, now)
        return RootHealth(root, now is not None, self._problems[root])

    def _watch(self, root: Path, now: RootIdentity) -> None:
        try:
            self._watches[root] = self._observer.schedule(self._handler, str(root), recursive=True, event_filter=EVENTS)
        except OSError as error:
            self._problems[root] = f"no events ({error.strerror}), found by full scans only; see `dawnproof ready`"
            return
        self._known[root], self._problems[root] = now, ""
        self._hint(None, f"{shown(str(root))} is watched from now on")

    def _emits(self, watch: ObservedWatch) -> bool:
        return any(emitter.watch == watch and emitter.is_alive() for emitter in self._observer.emitters)

    def _forget(self, root: Path, watch: ObservedWatch) -> None:
        self._watches[root] = self._known[root] = None
        try:
            self._observer.unschedule(watch)
        except (KeyError, OSError) as error:  # its own thread may have ended with the folder
            logging.getLogger(__name__).debug("unscheduling %s: %s", root, error)

    def _begin_again(self) -> None:
        """The dispatching thread has died, whatever killed it: a new observer, and everything is looked at."""
        self._observer = Observer()
        self._watches = dict.fromkeys(self._watches)
        self._observer.start()
        self._hint(None, "watching was started again")

    def _hint(self, path: Path | None, why: str) -> None:
        try:
            self._hints.put_nowait(Hint(path, why))
        except queue.Full:
            return  # the daemon is behind; the periodic full scan covers what is dropped here


def _not_of_the_end(record: logging.LogRecord) -> bool:
    return "thread is inactive" not in record.getMessage()


class _Hinting(FileSystemEventHandler):
    """Puts the path of an event on the queue and nothing else."""

    def __init__(self, hint: Callable[[Path | None, str], None]) -> None:
        self._hint = hint

    def dispatch(self, event: FileSystemEvent) -> None:
        try:
            name = event.dest_path if event.event_type == "moved" else event.src_path
            self._hint(Path(os.fsdecode(name)), event.event_type)
        except Exception:  # one exception here would end all watching without a word
            logging.getLogger(__name__).exception("an event could not be passed on")


class _Overflow(logging.Handler):
    """The only word watchdog gives of events lost in the kernel is a line in its log."""

    def __init__(self, hint: Callable[[Path | None, str], None]) -> None:
        super().__init__(logging.WARNING)
        self._tell = hint

    def emit(self, record: logging.LogRecord) -> None:
        if "overflow" in record.getMessage().lower():
            self._tell(None, "the kernel's queue of events overflowed")
