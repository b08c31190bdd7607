"""Which engine the rule book names, and what it says where it cannot have it."""

from __future__ import annotations

import pickle
import sys

import pytest

from dawnproof.errors import EnvironmentFault
from dawnproof.rulebook import read_book
from dawnproof.service.engine import limited_run, open_engine
from dawnproof.workers.pool import Pool

DASK = '[work]\nengine = "dask"\nscheduler = "tcp://127.0.0.1:1"\n'


def test_alone_is_the_default_and_loads_nothing_of_the_cluster(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    engine, news = open_engine(read_book("", "studio").work)
    try:
        assert isinstance(engine, Pool)
        assert tuple(news()) == ()
    finally:
        engine.close(wait=False)


def test_the_cluster_without_its_libraries_names_the_mend(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(EnvironmentFault, match=r"install dawnproof\[cluster\]"):
        open_engine(read_book(DASK, "studio").work)


def test_a_child_elsewhere_has_the_books_limits_and_more_room_where_the_task_needs_it() -> None:
    work = read_book(DASK, "studio").work
    limits = {needs: limited_run(work, needs).args[0] for needs in (100, 2000, 3000, 9000)}  # type: ignore[attr-defined]
    assert [limits[n].memory_mb for n in (100, 2000, 3000, 9000)] == [4096, 4096, 8192, 32768]
    assert limits[100].wall_s == work.wall_s
    assert pickle.loads(pickle.dumps(limited_run(work, 100))).args == limited_run(work, 100).args  # type: ignore[attr-defined]
