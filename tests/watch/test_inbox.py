"""The full scan of an inbox."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest

from dawnproof.errors import EnvironmentFault
from dawnproof.model import Identity
from dawnproof.watch.inbox import Kind, scan_inbox

BEDS = ("bed-a", "bed-b")


def put(path: Path, mtime: float = 1000.0) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"scan")
    os.utime(path, (mtime, mtime))
    return path


def test_beds_come_from_the_first_folder_only(tmp_path: Path) -> None:
    put(tmp_path / "one.tif")
    put(tmp_path / "bed-a" / "two.tif")
    put(tmp_path / "bed-b" / "deep" / "er" / "three.tif")
    put(tmp_path / "evening" / "bed-a" / "four.tif")
    put(tmp_path / "BED-B" / "five.tif")
    found = {entry.path.name: entry.bed for entry in scan_inbox(tmp_path, BEDS).entries}
    assert found == {"one.tif": None, "two.tif": "bed-a", "three.tif": "bed-b", "four.tif": None, "five.tif": "bed-b"}


def test_kinds_are_told_and_links_not_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    outside = tmp_path / "outside"
    put(outside / "secret.tif")
    inbox = tmp_path / "inbox"
    put(inbox / "file.tif")
    (inbox / "link.tif").symlink_to(outside / "secret.tif")
    (inbox / "folder").symlink_to(outside)
    (inbox / "circle").symlink_to(inbox)
    os.mkfifo(inbox / "fifo.tif")
    os.link(put(inbox / "hard.tif"), outside / "hard.tif")
    with socket.socket(socket.AF_UNIX) as listener:
        monkeypatch.chdir(inbox)  # the path of a socket is short
        listener.bind("socket.tif")
    kinds = {entry.path.name: entry.kind for entry in scan_inbox(inbox, BEDS).entries}
    assert kinds == {
        "file.tif": Kind.FILE,
        "link.tif": Kind.LINK,
        "folder": Kind.LINK,
        "circle": Kind.LINK,
        "fifo.tif": Kind.FIFO,
        "hard.tif": Kind.HARD_LINKED,
        "socket.tif": Kind.SOCKET,
    }


def test_identities_are_those_of_the_files(tmp_path: Path) -> None:
    path = put(tmp_path / "a.tif")
    (entry,) = scan_inbox(tmp_path, BEDS).entries
    assert entry.identity == Identity.of(path.lstat())


def test_beds_take_turns_oldest_first(tmp_path: Path) -> None:
    for number in range(4):
        put(tmp_path / "bed-a" / f"a{number}.tif", mtime=1000.0 - number)
    put(tmp_path / "bed-b" / "b0.tif", mtime=5000.0)
    names = [entry.path.stem for entry in scan_inbox(tmp_path, BEDS).entries]
    assert names == ["a3", "b0", "a2", "a1", "a0"]


def test_hostile_names_are_entries_like_any_other(tmp_path: Path) -> None:
    names = [b"a\x1b[2J.tif", b"b\n.tif", b"c\xff.tif", "é‮.tif".encode(), b"d" * 255]
    for name in names:
        with open(os.path.join(os.fsencode(tmp_path), name), "wb"):  # noqa: PTH118, PTH123 - bytes
            pass
    found = {os.fsencode(entry.path.name) for entry in scan_inbox(tmp_path, BEDS).entries}
    assert found == set(names)


def test_a_folder_that_cannot_be_read_is_a_trouble_and_the_others_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path / "bed-a" / "a.tif")
    put(tmp_path / "locked" / "b.tif")
    real = os.scandir

    def refusing(folder: Path) -> object:
        if folder.name == "locked":
            raise PermissionError(13, "Permission denied")
        return real(folder)

    monkeypatch.setattr(os, "scandir", refusing)
    scan = scan_inbox(tmp_path, BEDS)
    assert [entry.path.name for entry in scan.entries] == ["a.tif"]
    assert [(trouble.path.name, "Permission denied" in trouble.reason) for trouble in scan.troubles] == [
        ("locked", True)
    ]


def test_a_missing_inbox_is_said(tmp_path: Path) -> None:
    with pytest.raises(EnvironmentFault, match="cannot be read"):
        scan_inbox(tmp_path / "none", BEDS)


def test_the_work_of_one_scan_is_bounded(tmp_path: Path) -> None:
    for number in range(30):
        put(tmp_path / f"{number}.tif")
    assert not scan_inbox(tmp_path, BEDS, most=30).cut_short
    short = scan_inbox(tmp_path, BEDS, most=10)
    assert (short.cut_short, len(short.entries)) == (True, 10)


def test_endless_nesting_ends(tmp_path: Path) -> None:
    folder = tmp_path
    for _ in range(30):
        folder = folder / "deeper"
    put(folder / "a.tif")
    scan = scan_inbox(tmp_path, BEDS)
    assert scan.entries == ()
    assert "nested" in scan.troubles[0].reason
