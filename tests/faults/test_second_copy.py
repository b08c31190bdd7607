"""The second copy: made after filing, read back, tried again, and told; without it a job may not go back."""

from __future__ import annotations

import subprocess
from collections import Counter
from dataclasses import replace
from pathlib import Path

import bagit
from faults import evening
from faults.conftest import Mounted
from faults.killing import CALLS, points_of, sampled, stage

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import Pile
from dawnproof.pipeline.night import view_of
from dawnproof.storage.studio import Studio, open_studio


def studio_with(second: Path, root: Path) -> Studio:
    text = evening.BOOK.replace("reserve_gb = 0.0", f'reserve_gb = 0.0\nsecond = "{second}"')
    evening.studio_at(root)
    (root / "dawnproof.toml").write_text(text, "utf-8")
    return open_studio(root)


def pile(studio: Studio, job: str) -> Pile | None:
    ledger = Ledger.read(studio.ledger_path)
    try:
        row = ledger.job(job)
        assert row is not None
        return view_of(studio, ledger, row, ledger.scans_of(job), {}).pile
    finally:
        ledger.close()


def same_files(one: Path, other: Path) -> bool:
    def of(folder: Path) -> dict[str, str]:
        return {str(p.relative_to(folder)): evening.digest_of(p) for p in folder.rglob("*") if p.is_file()}

    return of(one) == of(other)


def test_every_bag_stands_a_second_time(tmp_path: Path) -> None:
    second = tmp_path / "second"
    second.mkdir()
    studio = studio_with(second, tmp_path / "studio")
    entered = Counter(evening.scan(studio.inbox / f"SL-0414_{p}.tif", 3, p) for p in ("L", "R"))
    heard = evening.run_until_idle(studio.root)
    assert heard.said("SL-0414 stands a second time")
    entered[evening.scan(studio.inbox / "SL-0414_L_t2.tif", 3, "L", grain=1)] += 1
    evening.run_until_idle(studio.root)
    for bag in ("SL-0414", "SL-0414.v2"):
        bagit.Bag(str(second / bag)).validate()
        assert same_files(studio.archive / bag, second / bag)
    evening.check_census(studio, entered)
    before = evening.state_of(studio), sorted(second.rglob("*"))
    evening.run_until_idle(studio.root)
    assert (evening.state_of(studio), sorted(second.rglob("*"))) == before


def test_without_it_a_job_may_not_go_back(tmp_path: Path, memory_disk: Mounted) -> None:
    """Full, then with room: made by itself; in between said, the job is archived but does not go back."""
    second = memory_disk(tmp_path / "second", "size=400k")
    studio = studio_with(second, tmp_path / "studio")
    entered = Counter([evening.scan(studio.inbox / "SL-0001_whole.tif", 1)])
    with evening.Living(studio.root) as daemon:
        daemon.until_filed("SL-0001")
        daemon.until(lambda: "no second copy" in daemon.alarms, "an alarm")
        assert pile(studio, "SL-0001") is Pile.LOOK_FIRST
        subprocess.run(["mount", "-o", "remount,size=32m", str(second)], check=True)
        daemon.until_said("SL-0001 stands a second time")
        daemon.until_calm()
    assert pile(studio, "SL-0001") is Pile.MAY_GO_BACK
    assert same_files(studio.archive / "SL-0001", second / "SL-0001")
    evening.check_census(studio, entered)


def test_a_second_disk_that_is_not_mounted(tmp_path: Path, memory_disk: Mounted) -> None:
    second = memory_disk(tmp_path / "second")
    studio = studio_with(second, tmp_path / "studio")
    evening.run_until_idle(studio.root)
    subprocess.run(["umount", "-l", str(second)], check=True)
    evening.scan(studio.inbox / "SL-0001_whole.tif", 1)
    heard = evening.run_until_idle(studio.root)
    assert heard.said("its disk is not mounted")
    assert (studio.archive / "SL-0001").is_dir()
    assert list(second.iterdir()) == [], "nothing is written into the bare mount point"


def test_a_damaged_bag_is_never_copied_over_as_if_it_were_sound(tmp_path: Path) -> None:
    second = tmp_path / "second"
    studio = studio_with(second, tmp_path / "studio")
    evening.scan(studio.inbox / "SL-0001_whole.tif", 1)
    evening.run_until_idle(studio.root)  # the folder is not there yet
    rotten = studio.archive / "SL-0001" / "data" / "parts" / "SL-0001_whole.tif"
    data = bytearray(rotten.read_bytes())
    data[-5] ^= 1
    rotten.write_bytes(data)
    second.mkdir()
    heard = evening.run_until_idle(studio.root)
    assert heard.said("no second copy")
    assert not (second / "SL-0001").exists()


def test_killed_while_it_is_made(tmp_path: Path, remembered: Path, sweep: bool) -> None:
    second = tmp_path / "second"
    studio = studio_with(second, tmp_path / "studio")
    evening.scan(studio.inbox / "SL-0001_whole.tif", 1)
    evening.run_until_idle(studio.root)
    second.mkdir()
    with stage(remembered) as player:
        log = tmp_path / "log"
        assert player.play(studio.root, "watch", log, "-e", f"trace={','.join(CALLS)}") == 0
        points = points_of(log)
        assert (second / "SL-0001").is_dir()
        for point in points if sweep else sampled(points, 3, 5):
            subprocess.run(["rm", "-rf", str(second)], check=True)
            second.mkdir()
            with_missing(studio)
            inject = f"inject={point.call}:signal=KILL:when={point.number}"
            player.play(studio.root, "watch", Path("/dev/null"), "-e", f"trace={point.call}", "-e", inject)
            evening.run_until_idle(studio.root)
            assert same_files(studio.archive / "SL-0001", second / "SL-0001")
            assert [p.name for p in second.iterdir()] == ["SL-0001"]


def with_missing(studio: Studio) -> None:
    ledger = Ledger.open(studio.ledger_path)
    row = ledger.job("SL-0001")
    assert row is not None
    ledger.put_job(replace(row, second_missing=True), row.judged_utc)
    ledger.close()
