"""An event loop in a thread of its own, which ends when it is told to, whatever became of those who used it."""

from __future__ import annotations

import asyncio
import threading
from typing import Any


class OwnLoop:
    """Given to a client of the scheduler. The loop a client makes for itself is left running, with its thread and
    three descriptors, each time no connection comes about: a scheduler that is away for a night would use up all."""

    def __init__(self) -> None:
        self._begun = threading.Event()
        threading.Thread(target=lambda: asyncio.run(self._turn()), name="cluster loop", daemon=True).start()
        self._begun.wait()

    def end(self) -> None:
        """What still runs in it is cancelled; nobody waits."""
        self.loop.add_callback(self._over.set)

    async def _turn(self) -> None:
        from tornado.ioloop import IOLoop

        self.loop: Any = IOLoop.current()
        self._over = asyncio.Event()
        self._begun.set()
        await self._over.wait()
