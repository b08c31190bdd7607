"""The line to one scheduler. Whatever may wait for the network is done by a thread of the line's own, so that a silent
network holds up nobody: who uses the line looks at `state` and at when it was last answered."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from enum import Enum
from typing import Any

from .address import address_in
from .elsewhere import PROGRESS, carry_out
from .loop import OwnLoop

CONNECT_S = 5.0
LOOK_S = 0.5
LOOK_MOST_S = 60.0  # longer nobody waits for an answer of the scheduler's, so that no thread is left behind for good
CLOSE_S = 2.0


class LineState(Enum):
    """How the line stands."""

    CONNECTING = "connecting"
    UP = "up"
    LOST = "lost"  # never came up, or broke; a new line must be made


@dataclass(frozen=True, slots=True)
class Helper:
    """A worker as the scheduler knows it. `seen` changes with every sign of life."""

    address: str
    name: str
    places: int
    memory_mb: float
    seen: float


@dataclass(frozen=True, slots=True)
class Look:
    """What the scheduler said at one moment: its workers, and by which of them each task is held."""

    at_s: float
    helpers: Mapping[str, Helper] = field(default_factory=dict)
    held_by: Mapping[str, str] = field(default_factory=dict)


class Line:
    """`address` of a scheduler, or `file` that holds it. `wake` is called when anything changed, `told` with a task's
    number and its share done."""

    def __init__(
        self, address: str | None, file: str | None, wake: Callable[[], None], told: Callable[[str, float], None]
    ) -> None:
        self.name = address or file or ""
        self.state = LineState.CONNECTING
        self.why = ""
        self.look = Look(time.monotonic())
        self._address, self._file, self._wake, self._told = address, file, wake, told
        self._client: Any = None
        self._loop: OwnLoop | None = None
        self._over, self._goodbye = threading.Event(), threading.Lock()
        self._thread = threading.Thread(target=self._live, name="cluster line", daemon=True)
        self._thread.start()

    def has_ended(self) -> bool:
        """Whether nothing of this line waits for anything any more."""
        return not self._thread.is_alive()

    def send(
        self, number: str, version: str, errand: bytes, helpers: Sequence[str], memory_mb: int, urgent: bool
    ) -> Any:
        """Hand a task over; the future's callbacks come in a thread of the client's."""
        return self._client.submit(
            carry_out, version, errand, key=number, workers=list(helpers), allow_other_workers=False, pure=False,
            resources={"memory_mb": memory_mb}, priority=10 if urgent else 0,
        )  # fmt: skip

    def withdraw(self, away: Any) -> None:
        """Want a task no more; what runs is not interrupted, its answer is not heard."""
        if self.state is LineState.UP:
            away.cancel()

    def close(self) -> threading.Thread:
        """Hang up, in a thread that may be waited for a little."""
        self._over.set()
        self.state = LineState.LOST
        thread = threading.Thread(target=self._hang_up, name="cluster goodbye", daemon=True)
        thread.start()
        return thread

    def _live(self) -> None:
        try:
            self._connect()
            while not self._over.is_set() and self._client.status in {"running", "connecting"}:
                self._look()
                self._over.wait(LOOK_S)
        except Exception as error:  # the client's errors have no common kind; each ends this line, and is said
            self.why = (str(error) or type(error).__name__).splitlines()[0]
        self.state = LineState.LOST
        self._hang_up()
        self._wake()

    def _connect(self) -> None:
        import dask
        from distributed import Client

        dask.config.set({"distributed.comm.timeouts.connect": f"{CONNECT_S:g}s"})
        address = address_in(self._file) if self._file else self._address
        self._loop = OwnLoop()
        self._client = Client.__new__(Client)  # known before it connects: one that fails must be closed all the same
        self._client.__init__(
            address, loop=self._loop.loop, timeout=CONNECT_S, set_as_default=False, direct_to_workers=False,
            name="dawnproof",
        )  # fmt: skip
        self._client.subscribe_topic(PROGRESS, self._hear)
        self._look()
        self.state = LineState.UP
        self._wake()

    def _hear(self, event: tuple[float, Any]) -> None:
        number, share = event[1]
        self._told(str(number), float(share))

    def _look(self) -> None:
        # asked of the scheduler itself: what the client keeps is written over, without the workers, in its own time
        ask, scheduler = self._client.sync, self._client.scheduler
        info = ask(scheduler.identity, n_workers=-1, callback_timeout=LOOK_MOST_S)
        processing = ask(scheduler.processing, workers=None, callback_timeout=LOOK_MOST_S)
        held = {key: address for address, keys in processing.items() for key in keys}
        if self._client.status != "running":
            raise ConnectionError("the connection broke")
        self.look = Look(time.monotonic(), {a: _helper(a, w) for a, w in info["workers"].items()}, held)
        self._wake()

    def _hang_up(self) -> None:
        with self._goodbye:
            if self._client is not None:
                with suppress(Exception):  # nobody is there to be told goodbye
                    self._client.close(timeout=CLOSE_S)
            if self._loop is not None:
                self._loop.end()


def _helper(address: str, told: Mapping[str, Any]) -> Helper:
    memory_mb = float(told.get("resources", {}).get("memory_mb", 0.0))
    return Helper(address, str(told.get("name", address)), int(told["nthreads"]), memory_mb, float(told["last_seen"]))
