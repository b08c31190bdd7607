"""Each way of arriving looks from outside as it does with real writers: what lies in the inbox at every pause."""

from pathlib import Path

import pytest

from dawnproof.rehearsal.scenario import Arrival
from dawnproof.rehearsal.writer import KEPT_SHARE, PIECE_BYTES, Delivery, Pace, deliver, deliver_all, kept_bytes

CONTENT = bytes(range(256)) * (3 * PIECE_BYTES // 256) + b"end"


def sizes_seen(tmp_path: Path, arrival: Arrival) -> tuple[Path, list[int]]:
    """Deliver CONTENT; the size under the target's name at each pause (-1: no such file)."""
    staged, target = tmp_path / "staged.tif", tmp_path / "inbox" / "bed-b" / "SL-0402_whole.tif"
    staged.write_bytes(CONTENT)
    seen: list[int] = []

    def sleep(_seconds: float) -> None:
        seen.append(target.stat().st_size if target.exists() else -1)

    deliver(Delivery(staged, target, arrival), sleep, Pace())
    return target, seen


def test_a_plain_file_grows(tmp_path: Path) -> None:
    target, seen = sizes_seen(tmp_path, Arrival.PLAIN)
    assert seen == [PIECE_BYTES, 2 * PIECE_BYTES, 3 * PIECE_BYTES, len(CONTENT)]
    assert target.read_bytes() == CONTENT


def test_a_renamed_file_appears_whole_and_leaves_nothing_behind(tmp_path: Path) -> None:
    target, seen = sizes_seen(tmp_path, Arrival.RENAMED)
    assert set(seen) == {-1}
    assert target.read_bytes() == CONTENT
    assert [p.name for p in target.parent.iterdir()] == [target.name]


def test_a_preallocated_file_has_its_size_from_the_start(tmp_path: Path) -> None:
    target, seen = sizes_seen(tmp_path, Arrival.PREALLOCATED)
    assert set(seen) == {len(CONTENT)}
    assert target.read_bytes() == CONTENT


def test_a_cut_off_file_stays_short(tmp_path: Path) -> None:
    target, _ = sizes_seen(tmp_path, Arrival.CUT_OFF)
    kept = kept_bytes(len(CONTENT), Arrival.CUT_OFF)
    assert kept == int(KEPT_SHARE * len(CONTENT)) < len(CONTENT)
    assert target.read_bytes() == CONTENT[:kept]


def test_a_name_already_taken_is_not_overwritten(tmp_path: Path) -> None:
    target, _ = sizes_seen(tmp_path, Arrival.PLAIN)
    with pytest.raises(FileExistsError):
        sizes_seen(tmp_path, Arrival.PLAIN)
    assert target.read_bytes() == CONTENT


def test_all_are_brought_in_order_and_staged_files_removed(tmp_path: Path) -> None:
    deliveries = []
    for count in range(3):
        staged = tmp_path / f"{count}.staged"
        staged.write_bytes(CONTENT[: count + 1])
        deliveries.append(Delivery(staged, tmp_path / "inbox" / f"{count}.tif", Arrival.PLAIN))
    told: list[str] = []
    pauses: list[float] = []
    deliver_all(deliveries, lambda d: told.append(d.target.name), pauses.append, Pace(0.0, 7.0))
    assert told == ["0.tif", "1.tif", "2.tif"]
    assert pauses.count(7.0) == 3
    assert sorted(p.name for p in tmp_path.iterdir()) == ["inbox"]
