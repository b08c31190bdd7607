"""What the service manager is told: ready, still alive, what is going on, stopping. One datagram each, as sd_notify(3)
describes; nothing at all when the daemon was not started by one."""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping


class ServiceNotify:
    """Speaks to the socket named in the environment."""

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        name = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + name[1:] if name.startswith("@") else name

    def ready(self, status: str) -> None:
        """The daemon has started."""
        self._send("READY=1", f"STATUS={_line(status)}")

    def alive(self, status: str) -> None:
        """The loop goes round, its threads live and the ledger can be written."""
        self._send("WATCHDOG=1", f"STATUS={_line(status)}")

    def stopping(self) -> None:
        """The daemon puts its things away."""
        self._send("STOPPING=1")

    def _send(self, *lines: str) -> None:
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC | socket.SOCK_NONBLOCK) as to:
                to.sendto("\n".join(lines).encode("utf-8", "backslashreplace"), self._address)
        except OSError:
            return  # a manager that does not listen must not stop the night


def _line(text: str) -> str:
    return " ".join(text.split())[:200]
