"""What the daemon asks of whoever measures and joins, be it children of its own or other computers."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, Protocol

from ..model import Progress


class Engine(Protocol):
    """Runs tasks away from the daemon's own process. A task is a function and one question that travels as a value."""

    def submit(
        self, what: str, subject: str, function: Callable[..., Any], *arguments: Any, long: bool = False
    ) -> Future[Any]:
        """The future fails with the function's own error, or WorkerDied."""
        ...

    def places(self) -> int:
        """Tasks that can run at the same time."""
        ...

    def waiting(self) -> int:
        """Tasks that have not begun."""
        ...

    def progress(self) -> tuple[Progress, ...]:
        """What is being done now."""
        ...

    def helper_of(self, future: Future[Any]) -> str:
        """The computer that did a task which is done, as the studio calls it; '' = this machine."""
        ...

    def watch(self) -> None:
        """Called at every turn of the daemon's loop."""
        ...

    def close(self, wait: bool = True) -> None:
        """End; what runs is ended unless waited for."""
        ...
