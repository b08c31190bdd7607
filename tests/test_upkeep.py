"""Verify and fixity: what became of the archive, told apart, in turns, and never mended."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from faults import evening

from dawnproof.errors import BrokenOff, UsageError
from dawnproof.ledger.ledger import Ledger
from dawnproof.storage.studio import Studio
from dawnproof.upkeep import fixity_share, verify_archive

JOBS = [f"SL-000{n}" for n in range(1, 6)]


def untold(octets: int) -> None:
    """Nobody listens."""


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """Five archived jobs; two bags a night are read again."""
    studio = evening.studio_at(tmp_path_factory.mktemp("upkeep") / "studio", "[fixity]\nshare_percent = 40.0\n")
    for number, job in enumerate(JOBS, start=1):
        evening.scan(studio.inbox / f"{job}_whole.tif", number)
    evening.run_until_idle(studio.root)
    return studio


@pytest.fixture
def ledger(filed: Studio) -> Iterator[Ledger]:
    """With nothing read again yet."""
    opened = Ledger.open(filed.ledger_path)
    opened._run("DELETE FROM fixity")
    yield opened
    opened.close()


def part_of(studio: Studio, job: str) -> Path:
    return next((studio.archive / job / "data" / "parts").iterdir())


def test_every_bag_has_its_turn(filed: Studio, ledger: Ledger) -> None:
    """The ones not read for longest first: two a night, all five within three nights, then from the start again."""
    nights = [
        [row.bag for row in fixity_share(filed, ledger, f"2026-11-2{night}T02:00:00+00:00")] for night in range(5)
    ]
    assert nights[:2] == [JOBS[:2], JOBS[2:4]]
    assert nights[2] == [JOBS[4], JOBS[0]]
    assert nights[3] == JOBS[1:3]
    assert all(row.ok and row.text == "as filed" for row in ledger.fixity())


def test_one_bag_at_least_and_none_without_bags(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio", "[fixity]\nshare_percent = 1.0\n")
    empty = Ledger.open(studio.ledger_path)
    assert fixity_share(studio, empty, "2026-11-24T02:00:00+00:00") == ()
    empty.close()
    evening.scan(studio.inbox / "SL-0001_whole.tif", 1)
    evening.run_until_idle(studio.root)
    one = Ledger.open(studio.ledger_path)
    assert [row.bag for row in fixity_share(studio, one, "2026-11-24T02:00:00+00:00")] == ["SL-0001"]
    one.close()


def test_broken_off_what_was_read_is_entered_and_nothing_is_called_damaged(filed: Studio, ledger: Ledger) -> None:
    """Work came in the middle of the second bag."""
    octets = sum(p.stat().st_size for p in (filed.archive / JOBS[0]).rglob("*") if p.is_file())
    read = 0

    def until_work_comes(count: int) -> None:
        nonlocal read
        read += count
        if read > octets + 1000:
            raise BrokenOff("work came")

    with pytest.raises(BrokenOff):
        fixity_share(filed, ledger, "2026-11-24T02:00:00+00:00", until_work_comes)
    assert [(row.bag, row.ok) for row in ledger.fixity()] == [(JOBS[0], True)]
    following = fixity_share(filed, ledger, "2026-11-25T02:00:00+00:00")
    assert [row.bag for row in following] == JOBS[1:3], "the next night begins with the one that was broken off"


def test_what_became_of_each_file_is_told_apart_and_nothing_is_mended(filed: Studio) -> None:
    changed, missing, extra, gone = (part_of(filed, job) for job in JOBS[:4])
    good = {path: path.read_bytes() for path in (changed, missing)}
    aside = filed.root / "aside"
    try:
        changed.write_bytes(good[changed][:-1] + b"?")
        missing.unlink()
        (extra.parent / "stranger.tif").write_bytes(b"x")
        (filed.archive / JOBS[3]).rename(aside)
        states = {state.job: state for state in verify_archive(filed, [], untold)}
        assert states[JOBS[0]].changed == (f"data/parts/{changed.name}",)
        assert states[JOBS[1]].missing == (f"data/parts/{missing.name}",)
        assert states[JOBS[2]].extra == ("data/parts/stranger.tif",)
        assert states[JOBS[3]].missing == (str(gone),), "a whole bag that is gone"
        assert states[JOBS[4]].ok
        assert not missing.exists()
        assert changed.read_bytes() != good[changed]
    finally:
        aside.rename(filed.archive / JOBS[3])
        (extra.parent / "stranger.tif").unlink()
        for path, data in good.items():
            path.write_bytes(data)
    assert all(state.ok for state in verify_archive(filed, [], untold))


def test_what_cannot_be_read_is_not_called_changed(filed: Studio) -> None:
    path = part_of(filed, JOBS[0])
    data = path.read_bytes()
    path.unlink()
    try:
        os.mkfifo(path)  # root reads everything else
        (state,) = verify_archive(filed, [JOBS[0]], untold)
        assert state.unreadable == (f"data/parts/{path.name}",)
        assert state.changed == ()
    finally:
        path.unlink()
        path.write_bytes(data)


def test_a_bag_that_was_forged_whole_is_found_by_the_ledger(filed: Studio) -> None:
    """File and manifests agree with each other, and not with what was filed."""
    bag = filed.archive / JOBS[0]
    path = part_of(filed, JOBS[0])
    files = [path, bag / "manifest-sha256.txt", bag / "tagmanifest-sha256.txt"]
    before = [file.read_bytes() for file in files]
    old = evening.digest_of(path)
    try:
        path.write_bytes(before[0][:-1] + b"?")
        files[1].write_bytes(before[1].replace(old.encode(), evening.digest_of(path).encode()))
        manifest = hashlib.sha256(before[1]).hexdigest()
        files[2].write_bytes(before[2].replace(manifest.encode(), evening.digest_of(files[1]).encode()))
        (state,) = verify_archive(filed, [JOBS[0]], untold)
        assert state.changed == (f"data/parts/{path.name}",)
    finally:
        for file, data in zip(files, before, strict=True):
            file.write_bytes(data)


def test_a_job_without_a_bag_is_a_wrong_call(filed: Studio) -> None:
    with pytest.raises(UsageError, match="no bag of SL-0499"):
        verify_archive(filed, ["SL-0499"], untold)
