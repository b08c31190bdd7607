"""What travels to another computer, and what comes back. The libraries of the cluster are not needed to read this."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, Self


class Question(Protocol):
    """What a task is asked: a value that knows which files it is about."""

    def reads(self) -> tuple[str, ...]:
        """The files it is about."""
        ...

    def writes(self) -> tuple[str, ...]:
        """The folders it writes into."""
        ...

    def placed(self, reads: Sequence[str], writes: Sequence[str]) -> Self:
        """The same with its files and folders at other paths, in the same order."""
        ...

    def needs_mb(self) -> int:
        """Resident memory it will need, MB."""
        ...

    def digests(self, result: Any) -> Mapping[str, str]:
        """SHA-256 of written files, by path below their folder, as far as it was taken while writing."""
        ...


@dataclass(frozen=True, slots=True)
class Sample:
    """A file as the daemon sees it: its size, and the digest of `length` bytes from `offset` on."""

    path: str
    size_bytes: int
    offset: int
    length: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Room:
    """A folder for what is written. `token` stands in its file TOKEN; `inner` are the folders it must hold."""

    path: str
    token: str
    inner: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Errand:
    """One task on its way. Paths are those of the computer it goes to. `run` runs `function` on the question in a
    limited child: run(slots, what, subject, function, question, told)."""

    number: str
    what: str
    subject: str
    run: Callable[..., Any]
    function: Callable[..., Any]
    question: Question
    samples: tuple[Sample, ...]
    rooms: tuple[Room, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """A file that was written: in which room, at which path it is wanted, where below the room it stands now."""

    room: int
    path: str
    stands: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Done:
    """The task's result and the files that came with it."""

    address: str
    result: Any
    pieces: tuple[Piece, ...] = ()


@dataclass(frozen=True, slots=True)
class Failed:
    """The task ended with this error, as it may or may not do here."""

    name: str
    address: str
    error: BaseException


@dataclass(frozen=True, slots=True)
class Unfit:
    """This computer cannot do the task: another version, the store not mounted, a wrong mount. `path` where a file
    gave it away."""

    name: str
    address: str
    reason: str
    path: str = ""


@dataclass(frozen=True, slots=True)
class Outgrown:
    """The task needed more memory than this computer offers, beside the others it had."""

    name: str
    address: str
    offered_mb: int


Answer = Done | Failed | Unfit | Outgrown


@dataclass(frozen=True, slots=True)
class News:
    """What the daemon is to say of the cluster: an alarm that stands until `over`, or one line (`key` '')."""

    key: str
    text: str
    over: bool = False
