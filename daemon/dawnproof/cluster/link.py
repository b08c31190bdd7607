"""The line to one scheduler. Whatever may wait for the network is done by a thread of the line's own, so that a silent
network holds up nobody: who uses the line looks at `state` and at when it was last answered."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import Any

from .elsewhere import PROGRESS, carry_out

CONNECT_S = 5.0
LOOK_S = 0.5
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
        self._over = threading.Event()
        threading.Thread(target=self._live, name="cluster line", daemon=True).start()

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
            self.why = f"{type(error).__name__}: {error}".splitlines()[0]
        self.state = LineState.LOST
        self._wake()

    def _connect(self) -> None:
        import dask
        from distributed import Client

        dask.config.set({"distributed.comm.timeouts.connect": f"{CONNECT_S:g}s"})
        self._client = Client(
            self._address, scheduler_file=self._file, timeout=CONNECT_S, set_as_default=False, direct_to_workers=False,
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
        info = self._client.sync(self._client.scheduler.identity, n_workers=-1)
        held = {key: address for address, keys in self._client.processing().items() for key in keys}
        if self._client.status != "running":
            raise ConnectionError("the connection broke")
        self.look = Look(time.monotonic(), {a: _helper(a, w) for a, w in info["workers"].items()}, held)
        self._wake()

    def _hang_up(self) -> None:
        if self._client is not None:
            try:
                self._client.close(timeout=CLOSE_S)
            except Exception:  # nobody is there to be told goodbye
                return


def _helper(address: str, told: Mapping[str, Any]) -> Helper:
    memory_mb = float(told.get("resources", {}).get("memory_mb", 0.0))
    return Helper(address, str(told.get("name", address)), int(told["nthreads"]), memory_mb, float(told["last_seen"]))
