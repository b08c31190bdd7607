"""The shipped units of the daemon and of a helper under a real process 1, with the lines the README gives the daemon
for the network; behind `--sweep`."""

from __future__ import annotations

import importlib.util
import os
import re
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from faults import evening
from faults.manager import NUMBER, Manager

if importlib.util.find_spec("distributed") is None:
    pytest.skip("dask.distributed is not installed (dawnproof[cluster])", allow_module_level=True)

from cluster.hosts import House

from dawnproof.storage.studio import Studio

pytestmark = pytest.mark.sweep
REPOSITORY = Path(__file__).resolve().parents[2]
UNIT, WORKER = "dawnproof@srv-prints.service", "dawnproof-worker.service"
# interpreter and checkout may lie in a folder of a person, where the units' user may not look
VISIBLE = f"ProtectHome=tmpfs\nBindReadOnlyPaths={sys.base_prefix} {sys.prefix} {REPOSITORY}\n"


def lines_of_the_readme() -> str:
    """The drop-in as it stands in the section on more than one workstation."""
    section = (REPOSITORY / "README.md").read_text("utf-8").split("## More than one workstation")[1].split("\n## ")[0]
    found = re.search(r"```ini\n(.*?)```", section, re.DOTALL)
    assert found, "the section gives the lines for the unit"
    return "\n".join(line.strip() for line in found[1].splitlines()) + "\n"


@pytest.fixture
def studio(tmp_path: Path, own_house: House) -> Studio:
    return evening.studio_at(tmp_path / "prints", f'[work]\nengine = "dask"\nscheduler = "{own_house.address}"\n')


@pytest.fixture
def manager(tmp_path: Path, studio: Studio, own_house: House) -> Iterator[Manager]:
    command = f"/opt/dawnproof/.venv/bin/dawnproof worker --scheduler {own_house.address} --name annex --memory-mb 3000"
    shipped = {name: (REPOSITORY / "systemd" / name).read_text("utf-8") for name in ("dawnproof@.service", WORKER)}
    units = {
        **shipped,
        f"{UNIT}.d/here.conf": f"{lines_of_the_readme()}\n[Service]\n{VISIBLE}",
        f"{WORKER}.d/here.conf": f"[Service]\nExecStart=\nExecStart={command}\n{VISIBLE}",
    }
    (tmp_path / "manager").mkdir()
    made = Manager(tmp_path / "manager", studio.root, units)
    yield made
    made.end()


def until(true: Callable[[], object], what: str, said: Callable[[], str], within_s: float = 90.0) -> None:
    begun = time.monotonic()
    while not true():
        assert time.monotonic() - begun < within_s, f"{what} did not happen\n{said()}"
        time.sleep(0.3)


def test_daemon_and_helper_work_within_what_their_units_let_them(manager: Manager, studio: Studio) -> None:
    def said() -> str:
        return manager.run("journalctl", "--no-pager", "-n", "80", "-u", UNIT, "-u", WORKER)

    manager.run("systemctl", "start", WORKER)
    until(lambda: "annex helps at" in said(), "the helper's start", said)
    manager.run("systemctl", "start", UNIT)
    assert manager.shown(UNIT, "ActiveState") == "active", said()
    entered: Counter[str] = Counter()
    for part in ("L", "R"):
        path = studio.root / f"SL-0412_{part}.tif"
        entered[evening.scan(path, 1, part)] += 1
        os.chown(path, NUMBER, NUMBER)
        path.rename(studio.inbox / path.name)
    until(lambda: "SL-0412 archived" in said(), "filing", said)
    for words in ("done here", "worked without", "cannot be reached"):
        assert words not in said()
    manager.run("systemctl", "stop", UNIT, check=True)
    parts = studio.archive / "SL-0412" / "data" / "parts"
    assert Counter(evening.digest_of(part) for part in parts.iterdir()) == entered
    assert list(studio.inbox.rglob("*.tif")) == []
