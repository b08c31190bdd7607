"""Options and places all tests share."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from cluster.hosts import House

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as in the measuring children; before numpy is imported

REPOSITORY = Path(__file__).resolve().parent.parent


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--sweep", action="store_true", help="run the exhaustive sweeps as well, not only a fair sample")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--sweep"):
        return
    for item in items:
        if "sweep" in item.keywords:
            item.add_marker(pytest.mark.skip(reason="exhaustive: runs with --sweep"))


@pytest.fixture(scope="session")
def sweep(request: pytest.FixtureRequest) -> bool:
    """Whether to go through everything rather than a fair sample."""
    return bool(request.config.getoption("--sweep"))


@pytest.fixture(scope="session")
def test_data() -> Path:
    """The pictures and files kept with the tests, see SOURCES.md there."""
    return REPOSITORY / "tests" / "data"


@pytest.fixture(scope="session")
def shared_testdata() -> Path:
    """More pictures and odd files beside the checkout; what needs them is skipped where they are not."""
    folder = REPOSITORY.parent / "shared" / "testdata"
    if not folder.is_dir():
        pytest.skip(f"no further test data at {folder}")
    return folder


@pytest.fixture
def own_house(tmp_path: Path) -> Iterator[House]:
    """The computers of this one test: a scheduler runs, helpers are started by the test. Needs dask.distributed."""
    from cluster.hosts import House

    with ExitStack() as stack:
        made = House(tmp_path, stack)
        made.scheduler()
        yield made
