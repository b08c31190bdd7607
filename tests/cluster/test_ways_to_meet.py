"""How a studio and its helpers find each other: by a file on the store, and by a link that is encrypted."""

from __future__ import annotations

import importlib.util
import signal
from collections import Counter
from contextlib import ExitStack
from pathlib import Path

import pytest
from faults import evening

if importlib.util.find_spec("distributed") is None:
    pytest.skip("dask.distributed is not installed (dawnproof[cluster])", allow_module_level=True)

import dask
import trustme
from cluster.hosts import House, Watched, lent_rooms, send_halves

from dawnproof.cluster import lines
from dawnproof.cluster.knocking import knock
from dawnproof.storage.studio import Studio

TLS = """distributed:
  comm:
    require-encryption: true
    tls:
      ca-file: {folder}/ca.pem
      scheduler: {{cert: {folder}/own.pem, key: {folder}/own.pem}}
      worker: {{cert: {folder}/own.pem, key: {folder}/own.pem}}
      client: {{cert: {folder}/own.pem, key: {folder}/own.pem}}
"""


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    return evening.studio_at(tmp_path / "store" / "prints")


def test_a_scheduler_file_that_comes_late_and_goes_again(tmp_path: Path, studio: Studio) -> None:
    """Without the file the studio works alone and says so; with it the helper is found; the file goes with the
    scheduler."""
    entered = send_halves(studio, "SL-0501", 3)
    with ExitStack() as stack:
        house = House(tmp_path, stack)
        with Watched(studio, None, file=house.file) as watched:
            watched.until_filed("SL-0501")
            assert "there is no such file: the scheduler is not running" in watched.alarms
            assert len(watched.here.done) == 3
            scheduler = house.scheduler()
            house.worker("annex", by_file=True)
            watched.until(lambda: watched.engine._helpers.places() == 1, "the helper is there", 60)
            watched.until_calm()
            entered += Counter([evening.scan(studio.inbox / "SL-0502_whole.tif", 4)])
            watched.until_filed("SL-0502")
            assert len(watched.here.done) == 3, "the helper did it"
            scheduler.send(signal.SIGTERM)
            watched.until(lambda: "cannot be reached" in watched.alarms, "its end is said", 60)
            entered += Counter([evening.scan(studio.inbox / "SL-0503_whole.tif", 5)])
            watched.until_filed("SL-0503")
        assert not house.file.exists()
    evening.check_census(studio, entered)
    assert lent_rooms(studio) == []


def test_a_scheduler_that_hangs_from_the_start_does_not_hold_the_work_up(
    tmp_path: Path, studio: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It takes the call and says nothing: no connection comes about, and none is refused."""
    monkeypatch.setattr(lines, "COME_ABOUT_S", 3.0)
    entered = send_halves(studio, "SL-0504", 6)
    with ExitStack() as stack:
        house = House(tmp_path, stack)
        house.scheduler().send(signal.SIGSTOP)
        with Watched(studio, house.address) as watched:
            watched.until_filed("SL-0504", within_s=60)
            assert "cannot be reached (it says nothing)" in watched.alarms
    assert len(watched.here.done) == 3
    evening.check_census(studio, entered)


def test_an_encrypted_link_as_the_readme_says(tmp_path: Path, studio: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    """The helpers' library has it from its own file of settings; who has no certificate is not let in."""
    settings = tmp_path / "settings"
    settings.mkdir()
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(settings / "ca.pem"))
    authority.issue_cert("127.0.0.1").private_key_and_cert_chain_pem.write_to_path(str(settings / "own.pem"))
    (settings / "dawnproof.yaml").write_text(TLS.format(folder=settings), "utf-8")
    monkeypatch.setenv("DASK_CONFIG", str(settings))
    entered = send_halves(studio, "SL-0505", 7)
    with ExitStack() as stack:
        house = House(tmp_path, stack, protocol="tls")
        house.scheduler()
        house.worker("annex")
        well, words = knock(house.address, None)
        assert not well
        assert "TLS" in words
        own = {"ca-file": "ca.pem", "client.cert": "own.pem", "client.key": "own.pem"}
        read = {f"distributed.comm.tls.{key}": str(settings / file) for key, file in own.items()}
        with dask.config.set(read), Watched(studio, house.address) as watched:
            watched.until_filed("SL-0505")
        assert watched.here.done == []
    evening.check_census(studio, entered)
