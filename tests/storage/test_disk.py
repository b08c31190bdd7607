"""Identity, digest, durable folders, a rename that never replaces."""

from __future__ import annotations

import errno
import hashlib
import os
from pathlib import Path

import pytest

from dawnproof.errors import BrokenOff, MoveError
from dawnproof.storage import disk


def test_a_digest_belongs_to_an_identity(tmp_path: Path) -> None:
    """SHA-256 of 'abc': FIPS 180-4, the example of appendix B.1."""
    path = tmp_path / "a"
    path.write_bytes(b"abc")
    found = disk.digest(path)
    assert found.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert found.identity == disk.identity(path)
    assert disk.identity(tmp_path / "none") is None


@pytest.mark.parametrize("size", [0, 1, disk.BLOCK_BYTES - 1, disk.BLOCK_BYTES, disk.BLOCK_BYTES + 1])
def test_digests_of_all_sizes(tmp_path: Path, size: int) -> None:
    data = os.urandom(size)
    (tmp_path / "a").write_bytes(data)
    assert disk.digest(tmp_path / "a").sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("change", ["append", "replace", "touch"])
def test_a_file_that_changes_while_it_is_digested_has_no_digest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"abc")

    def reading(fd: int, read: object) -> str:
        if change == "append":
            path.write_bytes(b"abcd")
        elif change == "replace":
            (tmp_path / "b").write_bytes(b"abc")
            (tmp_path / "b").replace(path)
        else:
            os.utime(path, ns=(1, 1))
        return "digest"

    monkeypatch.setattr(disk, "digest_of", reading)
    with pytest.raises(MoveError, match="changed while it was read"):
        disk.digest(path)


def test_a_rename_never_replaces(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    (tmp_path / "b").write_bytes(b"b")
    with pytest.raises(FileExistsError):
        disk.rename_noreplace(tmp_path / "a", tmp_path / "b")
    disk.rename_noreplace(tmp_path / "a", tmp_path / "c")
    assert sorted(path.read_bytes() for path in tmp_path.iterdir()) == [b"a", b"b"]


def test_file_systems_are_told_apart(tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    assert disk.same_file_system(tmp_path, tmp_path / "sub")
    if Path("/proc/self").exists():
        assert not disk.same_file_system(tmp_path, Path("/proc/version"))


def test_errors_are_sentences_with_a_mend_and_a_harmless_name() -> None:
    error = disk.failed("moving to", Path("/a/\x1b[2J.tif"), OSError(errno.ENOSPC, "No space left on device"))
    assert str(error) == r"moving to /a/\x1b[2J.tif failed (No space left on device); make room on that disk"


def test_reading_is_told_block_by_block_and_can_be_broken_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(disk, "BLOCK_BYTES", 10)
    path, told = tmp_path / "a", list[int]()
    path.write_bytes(bytes(25))
    disk.digest(path, told.append)
    assert told == [10, 10, 5]

    def stop(octets: int) -> None:
        raise BrokenOff("later")

    with pytest.raises(BrokenOff, match="later"):
        disk.digest(path, stop)
