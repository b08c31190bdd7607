"""Work on other computers, with a real scheduler and workers in processes of their own: whatever happens to them, every
scan has its one home, and nothing half-written is taken."""

from __future__ import annotations

import importlib.util
import signal
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from faults import evening

if importlib.util.find_spec("distributed") is None:
    pytest.skip("dask.distributed is not installed (dawnproof[cluster])", allow_module_level=True)

from cluster.hosts import SILENCE_S, House, Watched, lent_rooms, other_version, rooms_of, send_halves

from dawnproof import __version__
from dawnproof.cluster import link
from dawnproof.storage.studio import Studio


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with ExitStack() as stack:
        made = House(tmp_path_factory.mktemp("house"), stack)
        made.scheduler()
        made.worker("annex")
        yield made


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    return evening.studio_at(tmp_path / "store" / "prints")


def check(watched: Watched, entered: Counter[str]) -> None:
    """Every scan has its one home, each was judged once, and nothing lent lies about."""
    evening.check_census(watched.studio, entered)
    assert lent_rooms(watched.studio) == []
    measured = Counter(e.text.partition(":")[0] for e in watched.heard.events if e.kind == "measured")
    filed = Counter(e.job for e in watched.heard.events if e.kind == "filed")
    assert set(measured.values()) == {1}
    assert set(filed.values()) == {1}


def test_measuring_and_joining_travel_and_the_daemon_files(house: House, studio: Studio) -> None:
    entered = send_halves(studio, "SL-0401", 3) + Counter([evening.scan(studio.inbox / "SL-0402_whole.tif", 4)])
    with Watched(studio, house.address) as watched:
        watched.until(lambda: any(p.helper == "annex" for p in watched.engine.progress()), "told while it works")
        watched.until_filed("SL-0401")
        watched.until_filed("SL-0402")
    assert watched.here.done == [], "nothing was done here"
    check(watched, entered)
    told = sorted(e.text for e in watched.heard.events if e.kind in {"measured", "filed"})
    assert told == [
        "SL-0401 archived (made on annex)", "SL-0401_L.tif: L measured on annex", "SL-0401_R.tif: R measured on annex",
        "SL-0402 archived (made on annex)", "SL-0402_whole.tif: whole measured on annex",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("there", "said"), [("other", "is another file there: a wrong mount"), ("nowhere", "cannot be read there")]
)
def test_a_wrong_mount_is_noticed_before_any_work_and_said_once(
    house: House, studio: Studio, tmp_path: Path, there: str, said: str
) -> None:
    entered = send_halves(studio, "SL-0403", 5)
    other = evening.studio_at(tmp_path / "other" / "prints")
    send_halves(other, "SL-0403", 6)
    with Watched(studio, house.address, {str(tmp_path / "store"): str(tmp_path / there)}) as watched:
        watched.until_filed("SL-0403")
    assert Counter(what for what, _ in watched.here.done) == {"measuring": 2, "joining": 1}
    lines = [e.text for e in watched.heard.events if said in e.text]
    assert len(lines) == 1, lines
    assert "annex is worked without" in watched.alarms
    check(watched, entered)


@pytest.mark.parametrize("version", ["0.0.9", __version__])
def test_a_helper_with_another_version_is_worked_without(
    own_house: House, studio: Studio, tmp_path: Path, version: str
) -> None:
    """Also where only the source is older: a checkout keeps its version while it is worked on."""
    own_house.worker("old", package=other_version(tmp_path / "old", version))
    entered = send_halves(studio, "SL-0404", 7)
    with Watched(studio, own_house.address) as watched:
        watched.until_filed("SL-0404")
    assert len(watched.here.done) == 3
    assert watched.heard.said(f"old is worked without: it has Dawnproof {version}")
    check(watched, entered)


def test_a_worker_killed_in_mid_join_costs_the_time_alone(own_house: House, studio: Studio) -> None:
    """The only one there is: its join is done here. Nothing it wrote is taken."""
    worker = own_house.worker("annex")
    entered = send_halves(studio, "SL-0405", 8)
    with Watched(studio, own_house.address) as watched:
        watched.until_joining("SL-0405")
        worker.kill()
        watched.until_filed("SL-0405", within_s=60)
    assert watched.here.done == [("joining", "SL-0405")]
    assert watched.heard.said("annex went away in the middle of SL-0405")
    check(watched, entered)


def test_without_a_scheduler_the_studio_works_alone_and_says_so(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(link, "CONNECT_S", 0.5)
    entered = send_halves(studio, "SL-0406", 9)
    with ExitStack() as stack, Watched(studio, House(tmp_path, stack).address) as watched:
        watched.until_filed("SL-0406")
        assert "cannot be reached" in watched.alarms
    assert len(watched.here.done) == 3
    check(watched, entered)


@pytest.mark.sweep
def test_a_worker_killed_in_mid_join_has_its_join_done_by_another(own_house: House, studio: Studio) -> None:
    workers = {name: own_house.worker(name) for name in ("annex", "barn")}
    entered = send_halves(studio, "SL-0407", 10)
    with Watched(studio, own_house.address) as watched:
        watched.until_joining("SL-0407")
        (task,) = watched.engine._out.values()
        watched.until(lambda: bool(task.address), "where it is")
        workers[watched.engine._helpers.name(task.address)].kill()
        watched.until_filed("SL-0407", within_s=60)
    assert watched.here.done == []
    assert watched.heard.said("went away in the middle of SL-0407")
    check(watched, entered)


@pytest.mark.sweep
def test_a_worker_that_falls_silent_in_mid_join_is_worked_without(own_house: House, studio: Studio) -> None:
    """Stopped, not dead: nothing breaks, nothing is heard. When it wakes, what it still writes is in nobody's way."""
    worker = own_house.worker("annex")
    entered = send_halves(studio, "SL-0408", 11)
    with Watched(studio, own_house.address) as watched:
        watched.until_joining("SL-0408")
        worker.send(signal.SIGSTOP)
        watched.until_filed("SL-0408", within_s=4 * SILENCE_S + 30)
        assert watched.heard.said("annex says nothing any more")
        worker.send(signal.SIGCONT)
        watched.rest(2 * SILENCE_S)
        assert rooms_of(studio, "SL-0408") == []
    assert watched.here.done == [("joining", "SL-0408")]
    check(watched, entered)


@pytest.mark.sweep
def test_a_scheduler_that_falls_silent_holds_up_neither_the_work_nor_the_end(tmp_path: Path, studio: Studio) -> None:
    with ExitStack() as stack:
        house = House(tmp_path, stack)
        scheduler = house.scheduler()
        house.worker("annex")
        entered = send_halves(studio, "SL-0409", 12)
        with Watched(studio, house.address) as watched:
            watched.until_joining("SL-0409")
            scheduler.send(signal.SIGSTOP)
            watched.until_filed("SL-0409", within_s=4 * SILENCE_S + 30)
            assert watched.heard.said("it says nothing")
            begun = time.monotonic()
        assert time.monotonic() - begun < 10.0
    check(watched, entered)


@pytest.mark.sweep
def test_a_scheduler_that_is_restarted_is_found_again(tmp_path: Path, studio: Studio) -> None:
    with ExitStack() as stack:
        house = House(tmp_path, stack)
        scheduler = house.scheduler()
        worker = house.worker("annex")
        entered = send_halves(studio, "SL-0410", 13)
        with Watched(studio, house.address) as watched:
            watched.until_joining("SL-0410")
            scheduler.kill()
            watched.until_filed("SL-0410", within_s=60)
            watched.until(lambda: "cannot be reached" in watched.alarms, "saying that the scheduler is away")
            house.scheduler()
            watched.until(lambda: watched.engine._helpers.places() == 1, "the helper is back", 60)
            watched.until_calm()
            assert "cannot be reached" not in watched.alarms
            done_here = len(watched.here.done)
            entered += Counter([evening.scan(studio.inbox / "SL-0411_whole.tif", 14)])
            watched.until_filed("SL-0411")
        assert len(watched.here.done) == done_here
        assert worker.process.poll() is None
    check(watched, entered)


@pytest.mark.sweep
def test_a_daemon_that_is_stopped_in_mid_join_goes_on_at_the_next_start(own_house: House, studio: Studio) -> None:
    own_house.worker("annex")
    entered = send_halves(studio, "SL-0412", 15)
    with Watched(studio, own_house.address) as watched:
        watched.until_joining("SL-0412")
        begun = time.monotonic()
    assert time.monotonic() - begun < 10.0
    evening.check_census(studio, entered)
    with Watched(studio, own_house.address) as again:
        again.until_filed("SL-0412")
    evening.check_census(studio, entered)
    assert lent_rooms(studio) == []
