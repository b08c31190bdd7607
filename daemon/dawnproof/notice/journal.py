"""Lines of the night for the system's journal, with fields of their own: `journalctl DAWNPROOF_JOB=SL-0412`.

Written in the journal's native form (systemd's "Native Journal Protocol"): one datagram an entry, fields as NAME=value
lines, a value of several lines with its length before it.
"""

from __future__ import annotations

import os
import socket
import struct
from collections.abc import Mapping
from pathlib import Path

from ..model import EventRow, shown

SOCKET = Path("/run/systemd/journal/socket")
PRIORITIES = {"alarm": 3, "error": 3, "gone": 4, "stays": 4, "set aside": 4, "unfinished": 4}
NOTICE = 5


def speaks_to_journal(environment: Mapping[str, str] = os.environ, to: Path = SOCKET) -> bool:
    """Whether what this process writes ends in the journal anyway."""
    return "JOURNAL_STREAM" in environment and to.exists()


class Journal:
    """Sends events to the journal's socket."""

    def __init__(self, to: Path = SOCKET) -> None:
        self._to = str(to)
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)

    def say(self, event: EventRow) -> None:
        """One entry. OSError where the journal does not take it."""
        fields = {
            "MESSAGE": shown(event.text) if "\n" not in event.text else event.text,
            "PRIORITY": str(PRIORITIES.get(event.kind, NOTICE)),
            "SYSLOG_IDENTIFIER": "dawnproof",
            "DAWNPROOF_KIND": event.kind,
        } | ({"DAWNPROOF_JOB": shown(event.job)} if event.job else {})
        self._socket.sendto(b"".join(_field(name, value) for name, value in fields.items()), self._to)

    def close(self) -> None:
        """No more entries."""
        self._socket.close()


def _field(name: str, value: str) -> bytes:
    data = value.encode("utf-8", "backslashreplace")
    if b"\n" not in data:
        return name.encode() + b"=" + data + b"\n"
    return name.encode() + b"\n" + struct.pack("<Q", len(data)) + data + b"\n"
