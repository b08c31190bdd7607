"""The gate of the inbox: what may be measured, what waits, what is left alone, what is never touched, and why.

Cheap questions first, and each on the name as it is (links never followed): kind, name, settled, held by a writer,
structure, holes. Each question alone has a measured miss; together they let nothing through half-written.
"""

from __future__ import annotations

import errno
import fcntl
import os
import signal
import stat
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final

from ..errors import DawnproofError, NotAScan, NotWhole
from ..model import Identity
from .settle import Patience, State, Watched, found_wanting, judge, observe

TEMPORARY_ENDS: Final = (".part", ".partial", ".tmp", ".temp", ".filepart", ".crdownload", ".swp", "~")
TEMPORARY_STARTS: Final = (".", "~$", "#")


class Gate(Enum):
    """What the gate says of a name in the inbox."""

    OPEN = "a whole scan: measure it"
    WAIT = "not yet: still changing, still held by a program, or not whole"
    DAMAGED = "not whole and given up: to be set aside"
    NOT_A_SCAN = "whole, but nothing that can be measured: to be set aside"
    LEFT_ALONE = "not meant for us: hidden, temporary, or named in [intake] leave"
    NEVER_TOUCHED = "a link, FIFO, socket, device or unreadable file: stays where it is and is named"
    FOLDER = "a folder, looked into by the scan"
    GONE = "no longer there"


class Lease(Enum):
    """Whether a program holds the file open for writing, as the kernel knows it."""

    FREE = "nobody writes it"
    HELD = "a program still has it open for writing"
    UNKNOWN = "the file system or the owner does not let us ask"


@dataclass(frozen=True, slots=True)
class Passage:
    """The gate's answer for one name. `watched` is to be handed in again at the next look; None where time plays no
    part. `identity` is the state the answer is about."""

    gate: Gate
    reason: str
    identity: Identity | None = None
    watched: Watched | None = None


@dataclass(frozen=True, slots=True)
class WholeChecks:
    """What the gate asks of others: `structure` raises NotWhole or NotAScan, `bytes_in_holes` counts what was reserved
    for the picture but never written."""

    structure: Callable[[Path], object]
    bytes_in_holes: Callable[[Path], int]


def ignore_lease_breaks() -> None:
    """To be called once at start, in the main thread: a broken lease sends SIGIO, which ends who does not ignore it."""
    signal.signal(signal.SIGIO, signal.SIG_IGN)


def pass_gate(
    path: Path,
    watched: Watched | None,
    now_s: float,
    patience: Patience,
    leave: Sequence[str],
    checks: WholeChecks,
) -> Passage:
    """Ask all questions of one name at this moment (`now_s` monotonic). Opens the file only once it has settled."""
    first = first_look(path, leave)
    if first.gate is not Gate.OPEN or first.identity is None:
        return first
    watched = observe(watched, first.identity, now_s)
    verdict = judge(watched, now_s, patience)
    if verdict.state is State.SETTLING:
        return Passage(Gate.WAIT, verdict.reason, first.identity, watched)
    return _settled(path, watched, now_s, patience, checks)


def first_look(path: Path, leave: Sequence[str]) -> Passage:
    """Kind and name only; OPEN means: nothing against it so far."""
    try:
        state = path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return Passage(Gate.GONE, "no longer there")
    except OSError as error:
        return Passage(Gate.NEVER_TOUCHED, f"it cannot be looked at ({error.strerror}); check disk and permissions")
    if stat.S_ISDIR(state.st_mode):
        return Passage(Gate.FOLDER, "a folder")
    if why := left_alone(path.name, leave):
        return Passage(Gate.LEFT_ALONE, why)
    if why := never_touched(state):
        return Passage(Gate.NEVER_TOUCHED, why, Identity.of(state))
    return Passage(Gate.OPEN, "", Identity.of(state))


def left_alone(name: str, leave: Sequence[str]) -> str:
    """Why a name is not meant for us, '' when it is."""
    lower = name.lower()
    if lower.startswith(TEMPORARY_STARTS) or lower.endswith(TEMPORARY_ENDS):
        return "a hidden or temporary name"
    matching = [pattern for pattern in leave if fnmatchcase(lower, pattern.lower())]
    return f"named by {matching[0]} in [intake] leave" if matching else ""


def never_touched(state: os.stat_result) -> str:
    """Why what stands there is no plain file, '' when it is one."""
    kinds = {
        stat.S_IFLNK: "a symbolic link; put the scan itself here",
        stat.S_IFIFO: "a FIFO, not a file; remove it",
        stat.S_IFSOCK: "a socket, not a file; remove it",
        stat.S_IFCHR: "a device, not a file; remove it",
        stat.S_IFBLK: "a device, not a file; remove it",
    }
    if stat.S_ISREG(state.st_mode):
        return ""
    return kinds.get(stat.S_IFMT(state.st_mode), "not a plain file; remove it")


def lease(fd: int) -> Lease:
    """Ask for a read lease and give it back at once: held any longer it would block the scan program."""
    try:
        fcntl.fcntl(fd, fcntl.F_SETLEASE, fcntl.F_RDLCK)
    except OSError as error:
        return Lease.HELD if error.errno in (errno.EAGAIN, errno.EBUSY) else Lease.UNKNOWN
    fcntl.fcntl(fd, fcntl.F_SETLEASE, fcntl.F_UNLCK)
    return Lease.FREE


def _settled(path: Path, watched: Watched, now_s: float, patience: Patience, checks: WholeChecks) -> Passage:
    try:
        if (names := path.lstat().st_nlink) > 1:  # only now: some writers link the finished file, then unlink the other
            why = f"one file under {names} names (hard links): moving one would not move the scan; copy it here"
            return Passage(Gate.NEVER_TOUCHED, why, watched.identity, watched)
        held = _lease_of(path)
        problem = Lease.HELD.value if held is Lease.HELD else _not_whole(path, checks)
        if not problem and Identity.of(path.lstat()) != watched.identity:
            problem = "it changed while it was looked at"
    except NotAScan as error:
        return Passage(Gate.NOT_A_SCAN, str(error), watched.identity, watched)
    except FileNotFoundError:
        return Passage(Gate.GONE, "no longer there")
    except OSError as error:
        why = f"it cannot be read ({error.strerror}); check disk and permissions"
        return Passage(Gate.NEVER_TOUCHED, why, watched.identity, watched)
    except DawnproofError as error:
        return Passage(Gate.NEVER_TOUCHED, str(error), watched.identity, watched)
    watched = found_wanting(watched, problem, lease_known=held is not Lease.UNKNOWN)
    verdict = judge(watched, now_s, patience)
    if verdict.state is State.SETTLED:
        return Passage(Gate.OPEN, "", watched.identity, watched)
    if verdict.state is State.DAMAGED and held is not Lease.HELD:
        return Passage(Gate.DAMAGED, verdict.reason, watched.identity, watched)
    return Passage(Gate.WAIT, verdict.reason, watched.identity, watched)


def _lease_of(path: Path) -> Lease:
    fd = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        return lease(fd)
    finally:
        os.close(fd)


def _not_whole(path: Path, checks: WholeChecks) -> str:
    """What is missing of the file, '' when nothing is."""
    try:
        checks.structure(path)
    except NotWhole as error:
        return str(error)
    if empty := checks.bytes_in_holes(path):
        return f"{empty:,} bytes of it were reserved but never written; if nothing is writing it, copy it again"
    return ""
