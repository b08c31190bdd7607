"""What another computer wrote is taken up whole or not at all."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from dawnproof.cluster.bringing import Lent, bring_in, lend, take_back
from dawnproof.cluster.errand import Piece
from dawnproof.errors import MoveError


@dataclass(frozen=True)
class Two:
    """A question that writes into two folders."""

    folders: tuple[str, ...]

    def reads(self) -> tuple[str, ...]:
        return ()

    def writes(self) -> tuple[str, ...]:
        return self.folders

    def placed(self, reads: Sequence[str], writes: Sequence[str]) -> Two:
        return Two(tuple(writes))

    def needs_mb(self) -> int:
        return 1

    def digests(self, result: Any) -> Mapping[str, str]:
        return {}


@pytest.fixture
def lent(tmp_path: Path) -> tuple[Lent, ...]:
    for name in ("archive/.staging/data/parts", "proof/.staging"):
        (tmp_path / name).mkdir(parents=True)
    return lend(Two((str(tmp_path / "archive/.staging"), str(tmp_path / "proof/.staging"))), "dawnproof-12345678")


def written(lent: Sequence[Lent], room: int, path: str, data: bytes) -> Piece:
    """As the other computer writes it: below its own desk, named by content."""
    sha256 = hashlib.sha256(data).hexdigest()
    desk = Path(lent[room].room.path) / "desk"
    desk.mkdir(exist_ok=True)
    (desk / sha256).write_bytes(data)
    return Piece(room, path, f"desk/{sha256}", sha256, len(data))


def files(folder: Path) -> set[str]:
    return {str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()}


def test_a_room_knows_the_folders_it_must_hold_and_lies_beside(lent: tuple[Lent, ...]) -> None:
    assert lent[0].room.inner == ("data", "data/parts")
    assert Path(lent[0].room.path).parent == lent[0].folder.parent


def test_every_piece_comes_to_its_place(lent: tuple[Lent, ...], tmp_path: Path) -> None:
    pieces = [written(lent, 0, "data/SL-0401.tif", b"master"), written(lent, 1, "proof.jpg", b"proof")]
    bring_in(lent, pieces)
    take_back(lent)
    assert files(tmp_path) == {"archive/.staging/data/SL-0401.tif", "proof/.staging/proof.jpg"}
    assert (lent[0].folder / "data/SL-0401.tif").read_bytes() == b"master"


@pytest.mark.parametrize("harm", ["cut short", "changed", "missing", "longer"])
def test_nothing_is_taken_when_one_piece_is_not_what_was_said(
    lent: tuple[Lent, ...], tmp_path: Path, harm: str
) -> None:
    pieces = [written(lent, 1, "proof.jpg", b"proof"), written(lent, 0, "data/SL-0401.tif", b"master")]
    last = Path(lent[0].room.path) / pieces[-1].stands
    if harm == "missing":
        last.unlink()
    else:
        last.write_bytes({"cut short": b"mast", "changed": b"mastes", "longer": b"masters"}[harm])
    with pytest.raises(MoveError):
        bring_in(lent, pieces)
    take_back(lent)
    assert files(tmp_path) == set()


def test_a_piece_never_comes_from_outside_its_room(lent: tuple[Lent, ...], tmp_path: Path) -> None:
    (tmp_path / "archive" / "scan.tif").write_bytes(b"a scan")
    stolen = Piece(0, "data/x.tif", "../scan.tif", hashlib.sha256(b"a scan").hexdigest(), 6)
    with pytest.raises(MoveError, match="outside the room"):
        bring_in(lent, [stolen])
    assert (tmp_path / "archive" / "scan.tif").exists()
