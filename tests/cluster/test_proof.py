"""Two names, the same bytes: shown for what is the same, refused for everything else."""

from __future__ import annotations

from pathlib import Path

import pytest

from dawnproof.cluster.proof import BLOCK_BYTES, no_such_room, open_room, placed, sample_of, seen_differently, seen_from


def test_the_longest_folder_of_the_mapping_decides() -> None:
    paths = {"/srv": "/mnt/all", "/srv/prints": "/mnt/prints"}
    assert seen_from("/srv/prints/inbox/a.tif", paths) == "/mnt/prints/inbox/a.tif"
    assert seen_from("/srv/printshop/a.tif", paths) == "/mnt/all/printshop/a.tif"
    assert seen_from("/home/a.tif", paths) == "/home/a.tif"
    assert seen_from("/srv/prints", paths) == "/mnt/prints"


@pytest.mark.parametrize("size", [0, 1, 4096, 3 * BLOCK_BYTES + 17])
def test_the_same_file_is_recognised_at_any_size(tmp_path: Path, size: int) -> None:
    file = tmp_path / "a.tif"
    file.write_bytes(bytes(i % 251 for i in range(size)))
    for _ in range(20):
        assert seen_differently(sample_of(str(file))) == ""


def test_another_file_of_the_same_name_and_size_is_refused(tmp_path: Path) -> None:
    """Every byte differs, as noise of two scans does: whichever block the lot falls on."""
    file = tmp_path / "a.tif"
    file.write_bytes(b"\x01" * (2 * BLOCK_BYTES))
    samples = [sample_of(str(file)) for _ in range(20)]
    file.write_bytes(b"\x02" * (2 * BLOCK_BYTES))
    assert all("another file" in seen_differently(s) for s in samples)
    file.write_bytes(b"\x01" * (2 * BLOCK_BYTES - 1))
    assert all("another file" in seen_differently(s) for s in samples)
    file.unlink()
    assert all("cannot be read there" in seen_differently(s) for s in samples)


def test_samples_are_drawn_anywhere(tmp_path: Path) -> None:
    file = tmp_path / "a.tif"
    file.write_bytes(bytes(40 * BLOCK_BYTES))
    offsets = [sample_of(str(file)).offset for _ in range(40)]
    assert len(set(offsets)) > 30
    assert max(offsets) <= 39 * BLOCK_BYTES


def test_a_room_is_known_by_its_token(tmp_path: Path) -> None:
    (tmp_path / "here").mkdir()
    (tmp_path / "there").symlink_to("here")
    room = open_room(tmp_path / "here" / "room", ["data"])
    there = placed(room, {str(tmp_path / "here"): str(tmp_path / "there")})
    assert there.path == str(tmp_path / "there" / "room")
    assert no_such_room(there) == ""
    nowhere = placed(room, {str(tmp_path / "here"): str(tmp_path / "nowhere")})
    assert "is not the studio's folder there" in no_such_room(nowhere)
    other = open_room(tmp_path / "other", [])
    assert no_such_room(placed(room, {room.path: other.path})) != ""
