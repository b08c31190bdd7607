"""Bags: valid by two independent validators, and every way a bag can go wrong told apart (RFC 8493)."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import bagit
import pytest

from dawnproof.errors import BrokenOff, MoveError
from dawnproof.storage.bag import BagCheck, read_manifest, verify, write_tag_files

FILES = {"data/parts/SL-0412_L.tif": b"abcdef", "data/record.json": os.urandom(100)}


def filled(folder: Path, files: dict[str, bytes] = FILES) -> dict[str, str]:
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    return {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}


@pytest.fixture
def bag(tmp_path: Path) -> Path:
    folder = tmp_path / "SL-0412"
    write_tag_files(folder, filled(folder), "2026-11-24", [("Source-Organization", "Saltmarsh Lane Print Room")])
    return folder


def is_valid(folder: Path) -> bool:
    try:
        validator: Any = bagit.Bag
        validator(str(folder)).validate(processes=1)
    except (bagit.BagValidationError, bagit.BagError):
        return False
    return True


def test_two_independent_validators_accept_it(bag: Path) -> None:
    assert is_valid(bag)
    if shutil.which("sha256sum"):
        for manifest in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
            subprocess.run(["sha256sum", "--strict", "-c", manifest], cwd=bag, check=True, capture_output=True)


def test_tag_files_say_what_the_standard_wants(bag: Path) -> None:
    assert (bag / "bagit.txt").read_text() == "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    assert (bag / "bag-info.txt").read_text() == (
        "Bagging-Date: 2026-11-24\nPayload-Oxum: 106.2\nSource-Organization: Saltmarsh Lane Print Room\n"
    )
    assert read_manifest(bag / "manifest-sha256.txt") == filled(bag)


def test_a_sound_bag_is_ok_and_progress_is_told(bag: Path) -> None:
    told: list[int] = []
    check = verify(bag, told.append)
    assert check == BagCheck(files=2, octets=106)
    assert check.ok
    assert sum(told) == 106 + sum(
        (bag / name).stat().st_size for name in ("bagit.txt", "bag-info.txt", "manifest-sha256.txt")
    )


def test_reading_that_is_broken_off_calls_nothing_unreadable(bag: Path) -> None:
    def stop(octets: int) -> None:
        raise BrokenOff("later")

    with pytest.raises(BrokenOff, match="later"):
        verify(bag, stop)


def flip(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[3] ^= 1
    path.write_bytes(data)


def test_the_six_cases(tmp_path: Path) -> None:
    """Sound, extra file, flipped bit, missing file, changed bag-info, one more byte: each named, and each verdict the
    same as that of an independent validator."""
    image, record = FILES
    sound = BagCheck(files=2, octets=106)
    cases: dict[str, tuple[Callable[[Path], object], BagCheck]] = {
        "sound": (lambda bag: None, sound),
        "extra": (lambda bag: (bag / "data/x").write_bytes(b"x"), replace(sound, extra=("data/x",), files=3)),
        "flipped": (lambda bag: flip(bag / image), replace(sound, changed=(image,))),
        "missing": (lambda bag: (bag / record).unlink(), BagCheck(missing=(record,), files=1, octets=6)),
        "info": (lambda bag: flip(bag / "bag-info.txt"), replace(sound, changed=("bag-info.txt",))),
        "longer": (lambda bag: (bag / image).write_bytes(b"abcdefg"), replace(sound, changed=(image,), octets=107)),
    }
    for name, (spoil, wanted) in cases.items():
        bag = tmp_path / name
        write_tag_files(bag, filled(bag), "2026-11-24")
        spoil(bag)
        assert verify(bag) == wanted, name
        assert is_valid(bag) == wanted.ok, name


def test_what_cannot_be_read_is_told_apart(bag: Path) -> None:
    image = bag / "data/parts/SL-0412_L.tif"
    image.unlink()
    image.mkdir()
    (bag / "data/record.json").unlink()
    (bag / "data/record.json").symlink_to("/etc/hostname")
    assert set(verify(bag).unreadable) == {"data/parts/SL-0412_L.tif", "data/record.json"}


@pytest.mark.parametrize("name", ["manifest-sha256.txt", "tagmanifest-sha256.txt", "bagit.txt"])
def test_a_bag_without_its_tag_files_is_a_problem_not_a_crash(bag: Path, name: str) -> None:
    (bag / name).unlink()
    check = verify(bag)
    assert not check.ok
    assert check.problem


@pytest.mark.parametrize("line", ["nonsense", f"{'a' * 64}  ../../etc/passwd", f"{'a' * 64}  /etc/passwd"])
def test_a_hostile_manifest_is_not_followed(bag: Path, line: str) -> None:
    (bag / "manifest-sha256.txt").write_text(line + "\n")
    assert "line 1" in verify(bag).problem


def test_names_with_line_ends_and_percent_signs(tmp_path: Path) -> None:
    """RFC 8493, 2.1.3: CR, LF and % are percent-encoded in manifests, nothing else is."""
    folder = tmp_path / "bag"
    names = {"data/a\nb.tif": b"1", "data/c\rd%.tif": b"2", "data/e %0A é.tif": b"3"}
    write_tag_files(folder, filled(folder, names), "2026-11-24")
    text = (folder / "manifest-sha256.txt").read_text()
    assert "data/a%0Ab.tif" in text
    assert "data/c%0Dd%25.tif" in text
    assert "data/e %250A é.tif" in text
    assert verify(folder).ok


def test_a_closed_bag_is_never_changed_and_an_interrupted_one_is_finished(bag: Path) -> None:
    digests = filled(bag)
    write_tag_files(bag, digests, "2026-11-24", [("Source-Organization", "Saltmarsh Lane Print Room")])
    with pytest.raises(MoveError, match="another file stands at"):
        write_tag_files(bag, digests, "2026-11-25")
    (bag / "tagmanifest-sha256.txt").unlink()
    write_tag_files(bag, digests, "2026-11-25")
    assert is_valid(bag)
    assert "2026-11-25" in (bag / "bag-info.txt").read_text()


@pytest.mark.parametrize("name", ["record.json", "data/none.tif", "data/\udcff.tif"])
def test_what_cannot_be_payload_is_refused(bag: Path, name: str) -> None:
    (bag / "tagmanifest-sha256.txt").unlink()
    with pytest.raises(MoveError):
        write_tag_files(bag, filled(bag) | {name: "a" * 64}, "2026-11-24")
    assert not (bag / "tagmanifest-sha256.txt").exists()
