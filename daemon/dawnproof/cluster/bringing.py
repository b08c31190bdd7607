"""Taking up what another computer wrote: looked at byte by byte first, then moved to where it is wanted."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ..errors import MoveError
from ..storage.disk import digest, failed, fsync_dir
from .errand import Piece, Question, Room
from .proof import open_room

AWAY = ".away-"


@dataclass(frozen=True, slots=True)
class Lent:
    """A folder a task wants its files in, and the room beside it that was lent to another computer."""

    folder: Path
    room: Room


def lend(question: Question, number: str) -> tuple[Lent, ...]:
    """A room beside each folder the task writes into, on the same disk. OSError where it cannot be made."""
    lent: list[Lent] = []
    try:
        for name in question.writes():
            folder = Path(name)
            inner = tuple(p.relative_to(folder).as_posix() for p in sorted(folder.rglob("*")) if p.is_dir())
            lent.append(Lent(folder, open_room(folder.with_name(f"{folder.name}{AWAY}{number[-8:]}"), inner)))
    except OSError:
        take_back(lent)
        raise
    return tuple(lent)


def bring_in(lent: Sequence[Lent], pieces: Sequence[Piece]) -> None:
    """Every file is read and compared with size and digest before the first is moved. MoveError where one is not what
    it was said to be."""
    for piece in pieces:
        stands = _inside(lent[piece.room], piece.stands)
        found = digest(stands)
        if (found.sha256, found.identity.size) != (piece.sha256, piece.size_bytes):
            raise MoveError(f"{stands} is not what the other computer said it wrote")
    for piece in pieces:
        target = lent[piece.room].folder / piece.path
        try:
            _inside(lent[piece.room], piece.stands).rename(target)
            fsync_dir(target.parent)
        except OSError as error:
            raise failed("taking up", target, error) from error


def take_back(lent: Sequence[Lent]) -> None:
    """The rooms and what was left in them go; who still writes there finds nothing to write to."""
    for one in lent:
        shutil.rmtree(one.room.path, ignore_errors=True)


def _inside(lent: Lent, name: str) -> Path:
    path = Path(lent.room.path) / name
    if ".." in path.parts:
        raise MoveError(f"{path} lies outside the room that was lent")
    return path
