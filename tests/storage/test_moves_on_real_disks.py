"""Moves on disks that fill up, fail, refuse, or lose power at any step."""

from __future__ import annotations

import hashlib
import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from real_disks import Disk, run, small_memory_disk

from dawnproof.errors import MoveError
from dawnproof.storage import disk, moves
from dawnproof.storage.moves import copy, move, remove_stale_parts

DATA = bytes(range(256)) * 900
SHA = hashlib.sha256(DATA).hexdigest()


@pytest.fixture
def loop_disk(tmp_path: Path) -> Iterator[Disk]:
    made = Disk(tmp_path / "disk")
    yield made
    made.unmount()


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "SL-0412_L.tif"
    path.write_bytes(DATA)
    return path


class PowerCut(BaseException):
    """Not an Exception: nothing may catch it and tidy up, as nothing does when the power is gone."""


def cutting_at(number: int, loop_disk: Disk, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The power goes just before the n-th durable step of a move; returns the names of the steps begun."""
    begun: list[str] = []

    def counted(name: str, act: Callable[..., Any]) -> Callable[..., Any]:
        def step(*given: Any, **options: Any) -> Any:
            begun.append(name)
            if len(begun) == number:
                loop_disk.cut_power()
                raise PowerCut
            return act(*given, **options)

        return step

    monkeypatch.setattr(os, "fsync", counted("fsync", os.fsync))
    monkeypatch.setattr(os, "unlink", counted("unlink", os.unlink))
    monkeypatch.setattr(moves, "write_all", counted("write", disk.write_all))
    monkeypatch.setattr(moves, "rename_noreplace", counted("rename", disk.rename_noreplace))
    return begun


@pytest.mark.parametrize("renaming", [True, False])
def test_power_cut_before_every_step(loop_disk: Disk, monkeypatch: pytest.MonkeyPatch, renaming: bool) -> None:
    """Whatever is left after the cut, the bytes are there, and the same call finishes. Both protocols on one disk, so
    that both ends lose what was not synced."""
    (loop_disk.folder / "inbox").mkdir()
    (loop_disk.folder / "archive").mkdir()
    source, target = loop_disk.folder / "inbox" / "a.tif", loop_disk.folder / "archive" / "a.tif"
    monkeypatch.setattr(moves, "same_file_system", lambda one, other: renaming)
    number, steps = 0, ["unknown"]
    while number <= len(steps):
        number += 1
        target.unlink(missing_ok=True)
        source.write_bytes(DATA)
        os.sync()
        with monkeypatch.context() as patch:
            steps = cutting_at(number, loop_disk, patch)
            try:
                move(source, target, SHA)
                loop_disk.cut_power()  # after the last step
            except PowerCut:
                pass
        loop_disk.power_up()
        alive = [path for path in (source, target) if path.exists() and path.read_bytes() == DATA]
        assert alive, f"lost when cut before step {number}: {steps}"
        if number > len(steps):
            assert alive == [target], "a finished move stays finished"
        move(source, target, SHA)
        remove_stale_parts(target.parent)
        assert not source.exists()
        assert [path.read_bytes() for path in target.parent.iterdir()] == [DATA]
    print(f"cut before each of {len(steps)} steps and after the last: {steps}")
    assert len(steps) >= (4 if renaming else 6)


def test_power_cut_at_the_target_alone(loop_disk: Disk, source: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another disk, another journal: what the source's disk has made durable says nothing about the target's."""
    target = loop_disk.folder / "a.tif"
    number, steps = 0, ["unknown"]
    while number <= len(steps):
        number += 1
        target.unlink(missing_ok=True)
        source.write_bytes(DATA)
        os.sync()
        with monkeypatch.context() as patch:
            steps = cutting_at(number, loop_disk, patch)
            try:
                move(source, target, SHA)
                loop_disk.cut_power()
            except PowerCut:
                pass
        loop_disk.power_up()
        assert [path for path in (source, target) if path.exists() and path.read_bytes() == DATA], (number, steps)
        move(source, target, SHA)
        assert target.read_bytes() == DATA
        assert not source.exists()
    assert len(steps) == 7


def test_a_scan_that_its_writer_never_synced_is_durable_after_the_move(loop_disk: Disk) -> None:
    (loop_disk.folder / "inbox").mkdir()
    (loop_disk.folder / "archive").mkdir()
    os.sync()
    source, target = loop_disk.folder / "inbox" / "a.tif", loop_disk.folder / "archive" / "a.tif"
    source.write_bytes(DATA)
    move(source, target, SHA)
    loop_disk.cut_power()
    loop_disk.power_up()
    assert target.read_bytes() == DATA
    assert not source.exists()


@pytest.mark.parametrize(
    ("options", "room", "mend"),
    [("size=64k", "size=4m", "make room on that disk"), ("nr_inodes=1", "nr_inodes=9", "make room on that disk")],
)
def test_a_full_disk_keeps_the_source_and_goes_on_when_there_is_room(
    tmp_path: Path, source: Path, options: str, room: str, mend: str
) -> None:
    folder = tmp_path / "small"
    small_memory_disk(folder, options)
    try:
        for act in (move, copy):
            with pytest.raises(MoveError, match=mend):
                act(source, folder / "a.tif", SHA)
        assert source.read_bytes() == DATA
        assert list(folder.iterdir()) == []
        run("mount", "-o", f"remount,{room}", str(folder))
        move(source, folder / "a.tif", SHA)
        assert (folder / "a.tif").read_bytes() == DATA
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def test_a_read_only_disk(loop_disk: Disk, source: Path) -> None:
    run("mount", "-o", "remount,ro", str(loop_disk.folder))
    with pytest.raises(MoveError, match="mounted read-only"):
        move(source, loop_disk.folder / "a.tif", SHA)
    run("mount", "-o", "remount,rw", str(loop_disk.folder))
    move(source, loop_disk.folder / "a.tif", SHA)
    assert not source.exists()


def test_an_immutable_folder(loop_disk: Disk, source: Path) -> None:
    run("chattr", "+i", str(loop_disk.folder))
    with pytest.raises(MoveError, match="the right to write there"):
        move(source, loop_disk.folder / "a.tif", SHA)
    run("chattr", "-i", str(loop_disk.folder))
    assert source.read_bytes() == DATA


def test_a_source_that_can_be_read_only_in_part_stays_where_it_is(loop_disk: Disk, tmp_path: Path) -> None:
    source = loop_disk.folder / "a.tif"
    data = os.urandom(6 << 20)
    source.write_bytes(data)
    os.sync()
    (tmp_path / "archive").mkdir()
    loop_disk.lose_all_behind(3)
    with pytest.raises(MoveError, match=r"reading .* failed"):
        move(source, tmp_path / "archive" / "a.tif", hashlib.sha256(data).hexdigest())
    assert source.stat().st_size == len(data)
    assert list((tmp_path / "archive").iterdir()) == []
