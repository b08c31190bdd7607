"""`ready` asks before the night whether anybody will help."""

from __future__ import annotations

import importlib.util
from contextlib import ExitStack
from pathlib import Path

import pytest

if importlib.util.find_spec("distributed") is None:
    pytest.skip("dask.distributed is not installed (dawnproof[cluster])", allow_module_level=True)

from cluster.hosts import House, free_port

from dawnproof.cluster import link
from dawnproof.cluster.knocking import knock


def test_nobody_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(link, "CONNECT_S", 0.5)
    well, words = knock(f"tcp://127.0.0.1:{free_port()}", None)
    assert not well
    assert "does not answer" in words


def test_nobody_helps_then_somebody_does(tmp_path: Path) -> None:
    with ExitStack() as stack:
        house = House(tmp_path, stack)
        house.scheduler()
        assert knock(house.address, None) == (
            False, f"no computer helps at {house.address}; start `dawnproof worker` on one"
        )  # fmt: skip
        house.worker("annex", memory_mb=3000, slots=2)
        assert knock(house.address, None) == (True, f"{house.address} answers; annex (2 at a time, 3000 MB)")
