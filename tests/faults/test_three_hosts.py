"""The README's 'more than one workstation' on three hosts with addresses and mounts of their own: the commands as they
stand there, and what befalls a house."""

from __future__ import annotations

import importlib.util
import signal
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from faults import evening

if importlib.util.find_spec("distributed") is None:
    pytest.skip("dask.distributed is not installed (dawnproof[cluster])", allow_module_level=True)

from cluster.hosts import DAEMON, House, Started, lent_rooms, other_version, rooms_of, send_halves, wait_for
from cluster.three_hosts import ADDRESSES, Hosts

from dawnproof.ledger.ledger import Ledger

BOOK = """
[work]
engine = "dask"
scheduler = "tcp://{desk}:8786"
silence_s = 3.0
[work.paths]
"{store}" = "{mount}"
"""


class Studio:
    """The three hosts, a scheduler and a daemon on the desk."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self.hosts = Hosts(folder, stack)
        self.house = House(folder, stack, 8786, ADDRESSES["desk"])
        book = BOOK.format(desk=ADDRESSES["desk"], store=self.hosts.store, mount=self.hosts.mount)
        self.studio = evening.studio_at(self.hosts.store / "prints", book)
        self.entered: Counter[str] = Counter()
        self.house.scheduler(self.hosts.on("desk"))

    def helper(self, name: str, sees: Path | None, package: Path | None = None) -> Started:
        return self.house.worker(name, before=self.hosts.on(name, sees), package=package or DAEMON)

    def send_halves(self, job: str, seed: int) -> None:
        self.entered += send_halves(self.studio, job, seed)

    def night(self, job: str, meanwhile: Callable[[], None] = lambda: None) -> str:
        """Watch until the job is filed; what is done `meanwhile` begins when another host is joining it. The lines."""
        words = ("-m", "dawnproof", "watch", str(self.studio.root), "--plain")
        daemon = self.house.start("daemon", *words, before=self.hosts.on("desk"))
        meanwhile()
        daemon.until(f"{job} archived", within_s=90)
        begun = time.monotonic()
        daemon.send(signal.SIGTERM)
        assert daemon.process.wait(timeout=30) == 0
        assert time.monotonic() - begun < 10.0, "the daemon ends within 10 s"
        return daemon.said()

    def until_joining(self, job: str) -> None:
        wait_for(lambda: bool(rooms_of(self.studio, job)), f"{job} being joined elsewhere", 60)

    def check(self) -> None:
        """Every scan has its one home; each was measured and each job filed once."""
        evening.check_census(self.studio, self.entered)
        assert lent_rooms(self.studio) == []
        ledger = Ledger.read(self.studio.ledger_path)
        try:
            said = Counter((e.kind, e.text) for e in ledger.events("", 1000) if e.kind in {"measured", "filed"})
        finally:
            ledger.close()
        assert set(said.values()) == {1}
        assert len(said) == len(self.entered) + 1


@pytest.fixture
def three(tmp_path: Path) -> Iterator[Studio]:
    with ExitStack() as stack:
        yield Studio(tmp_path, stack)


def test_a_worker_killed_in_mid_join(three: Studio) -> None:
    workers = {name: three.helper(name, three.hosts.store) for name in ("annex", "barn")}
    three.send_halves("SL-0401", 3)

    def kill_who_joins() -> None:
        three.until_joining("SL-0401")
        (desk, *_) = rooms_of(three.studio, "SL-0401")
        workers[desk.name.split("-")[0]].kill()

    said = three.night("SL-0401", kill_who_joins)
    assert "went away in the middle of SL-0401" in said
    assert "cannot be reached" not in said
    three.check()


@pytest.mark.sweep
def test_as_the_readme_says_everything_is_done_by_the_helpers(three: Studio) -> None:
    three.helper("annex", three.hosts.store)
    three.send_halves("SL-0402", 4)
    said = three.night("SL-0402")
    for words in ("worked without", "done here", "cannot be reached"):
        assert words not in said
    three.check()


@pytest.mark.sweep
def test_a_link_that_is_cut_in_mid_join(three: Studio) -> None:
    """The helper goes on behind the cut, on the same store: what it writes there is in nobody's way."""
    three.helper("annex", three.hosts.store)
    three.send_halves("SL-0403", 5)

    def cut() -> None:
        three.until_joining("SL-0403")
        three.hosts.cut("annex")

    said = three.night("SL-0403", cut)
    assert "annex says nothing any more; SL-0403 is done" in said or "annex went away in the middle of SL-0403" in said
    three.check()
    three.hosts.mend("annex")
    time.sleep(3.0)
    three.check()


@pytest.mark.sweep
@pytest.mark.parametrize("sees", ["wrong", "nothing"])
def test_a_wrong_mount_and_none(three: Studio, sees: str) -> None:
    if sees == "wrong":
        other = evening.studio_at(three.hosts.wrong / "prints")
        send_halves(other, "SL-0404", 99)
    three.helper("annex", three.hosts.wrong if sees == "wrong" else None)
    three.send_halves("SL-0404", 6)
    said = three.night("SL-0404")
    assert said.count("annex is worked without") == 1
    assert ("is another file there" if sees == "wrong" else "cannot be read there") in said
    three.check()


@pytest.mark.sweep
def test_a_store_that_goes_away_there_in_mid_join(three: Studio) -> None:
    """What the helper can no longer read or write says nothing of the scans."""
    worker = three.helper("annex", three.hosts.store)
    three.send_halves("SL-0406", 8)

    def unmount() -> None:
        three.until_joining("SL-0406")
        three.hosts.unmount(worker.process.pid)

    said = three.night("SL-0406", unmount)
    assert "SL-0406: annex could not do it" in said or "annex is worked without" in said
    three.check()


@pytest.mark.sweep
def test_a_store_that_may_not_be_written_there(three: Studio) -> None:
    three.house.worker("annex", before=three.hosts.on("annex", three.hosts.store, writable=False))
    three.send_halves("SL-0407", 9)
    said = three.night("SL-0407")
    assert said.count("annex is worked without: it cannot write in") == 1
    three.check()


@pytest.mark.sweep
def test_a_stale_version_beside_a_right_one(three: Studio, tmp_path: Path) -> None:
    three.helper("annex", three.hosts.store, other_version(tmp_path / "old"))
    three.helper("barn", three.hosts.store)
    three.send_halves("SL-0405", 7)
    said = three.night("SL-0405")
    assert said.count("annex is worked without: it has Dawnproof 0.0.9") == 1
    assert "barn is worked without" not in said
    three.check()
