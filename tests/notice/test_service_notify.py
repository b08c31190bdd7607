"""What the service manager hears, at a socket of our own."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from dawnproof.notice.service_notify import ServiceNotify


@pytest.mark.parametrize("abstract", [False, True])
def test_ready_alive_stopping(abstract: bool, tmp_path: Path) -> None:
    name = f"@dawnproof-test-{tmp_path.name}" if abstract else str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("\0" + name[1:] if abstract else name)
        manager.settimeout(5)
        notify = ServiceNotify({"NOTIFY_SOCKET": name})
        notify.ready("watching\n/srv/prints")
        assert manager.recv(4096) == b"READY=1\nSTATUS=watching /srv/prints"
        notify.alive("x" * 500)
        said = manager.recv(4096)
        assert said.startswith(b"WATCHDOG=1\nSTATUS=xxx")
        assert len(said) < 300
        notify.stopping()
        assert manager.recv(4096) == b"STOPPING=1"


def test_without_a_manager_nothing_happens(tmp_path: Path) -> None:
    ServiceNotify({}).ready("nobody listens")
    ServiceNotify({"NOTIFY_SOCKET": str(tmp_path / "nobody")}).alive("nobody listens")
