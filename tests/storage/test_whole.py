"""What the gate asks of a settled file."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
import tifffile

from dawnproof.errors import MoveError, NotWhole
from dawnproof.storage.whole import bytes_in_holes, check_structure


@pytest.fixture
def path(tmp_path: Path) -> Path:
    pixels = np.random.default_rng(1).integers(1, 65535, (300, 400, 3), "u2")
    tifffile.imwrite(tmp_path / "a.tif", pixels, photometric="rgb", rowsperstrip=10)
    return tmp_path / "a.tif"


def test_facts_of_a_whole_file(path: Path) -> None:
    facts = check_structure(path)
    assert (facts.width_px, facts.height_px, facts.size_bytes) == (400, 300, path.stat().st_size)


def test_a_cut_file_is_not_whole(path: Path) -> None:
    os.truncate(path, path.stat().st_size - 1)
    with pytest.raises(NotWhole):
        check_structure(path)


def test_links_are_not_followed(path: Path) -> None:
    (path.parent / "link.tif").symlink_to(path)
    with pytest.raises((MoveError, OSError)):
        check_structure(path.parent / "link.tif")


def test_holes_are_counted_inside_the_picture_only(path: Path) -> None:
    data = path.read_bytes()
    assert bytes_in_holes(path) == 0
    sparse = path.parent / "sparse.tif"
    with sparse.open("wb") as file:
        file.write(data[:100_000])
        file.seek(200_704)  # leaves a hole between two blocks of 4096 bytes
        file.write(data[200_704:])
        file.truncate(len(data) + (1 << 20))
        os.fsync(file.fileno())
    found = bytes_in_holes(sparse)
    if found == 0:
        pytest.skip("this file system does not tell holes")
    assert 200_704 - 100_000 - 4096 <= found <= 200_704 - 100_000


def test_an_empty_file_has_no_holes_to_tell(tmp_path: Path) -> None:
    (tmp_path / "a.tif").write_bytes(b"")
    assert bytes_in_holes(tmp_path / "a.tif") == 0
