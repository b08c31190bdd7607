"""The line to a scheduler that is not there: said in words, and nothing of it is left behind."""

from __future__ import annotations

import importlib.util
import socket
import threading
import time
from pathlib import Path

import pytest

if importlib.util.find_spec("distributed") is None:
    pytest.skip("dask.distributed is not installed (dawnproof[cluster])", allow_module_level=True)

from cluster.hosts import free_port, wait_for

from dawnproof.cluster import link
from dawnproof.cluster.address import address_in
from dawnproof.cluster.link import Line, LineState


def line_to(address: str | None, file: Path | None = None) -> Line:
    """A line whose fate is known."""
    line = Line(address, str(file) if file else None, lambda: None, lambda number, share: None)
    wait_for(lambda: line.state is not LineState.CONNECTING, "the line came about or did not")
    return line


def give_up_on(address: str) -> None:
    """As the engine does with a line that does not come about within its time."""
    line = Line(address, None, lambda: None, lambda number, share: None)
    time.sleep(0.6)
    line.close().join(5.0)
    wait_for(line.has_ended, "the line ends")
    assert line.state is LineState.LOST


def held() -> tuple[int, int]:
    """Threads and open files of this process."""
    return threading.active_count(), len(list(Path("/proc/self/fd").iterdir()))


@pytest.mark.parametrize("there", ["nobody", "somebody who says nothing"])
def test_a_scheduler_away_for_a_night_uses_up_nothing(monkeypatch: pytest.MonkeyPatch, there: str) -> None:
    """A try every few seconds for hours: what one leaves behind would end the daemon before the morning."""
    monkeypatch.setattr(link, "CONNECT_S", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = free_port() if there == "nobody" else silent.getsockname()[1]
        give_up_on(f"tcp://127.0.0.1:{port}")
        before = held()
        for _ in range(6):
            give_up_on(f"tcp://127.0.0.1:{port}")
        wait_for(lambda: held()[0] <= before[0], "no thread is left")
        wait_for(lambda: held()[1] <= before[1] + 2, "descriptors are given back")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (None, "there is no such file: the scheduler is not running, or the store is away"),
        ("", "no scheduler's address stands in the file"),
        ("{", "no scheduler's address stands in the file"),
        ("[1]", "no scheduler's address stands in the file"),
        ('{"address": 7}', "no scheduler's address stands in the file"),
    ],
)
def test_a_scheduler_file_that_leads_nowhere_is_said_at_once(tmp_path: Path, text: str | None, said: str) -> None:
    """The library would wait for the file for ever, and all work with it."""
    file = tmp_path / "scheduler.json"
    if text is not None:
        file.write_text(text, "utf-8")
    line = line_to(None, file)
    assert line.state is LineState.LOST
    assert line.why.startswith(said)


def test_the_address_in_the_file(tmp_path: Path) -> None:
    file = tmp_path / "scheduler.json"
    file.write_text('{"id": "x", "address": "tcp://10.0.0.4:8786"}', "utf-8")
    assert address_in(str(file)) == "tcp://10.0.0.4:8786"
