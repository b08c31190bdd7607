"""Moves that lose nothing and overwrite nothing, from whatever state a crash left them in.

On one file system: fsync the file, rename without replacing, fsync both folders. Across: copy to a hidden `.part`
beside the target, fsync, read it back, rename, fsync the folder, look at the source once more, unlink it, fsync its
folder. Each call first looks at what is there, so the same call finishes what an interrupted one began.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
from collections.abc import Callable
from contextlib import suppress
from enum import Enum
from pathlib import Path
from typing import Final

from ..errors import MoveError
from ..model import Identity, shown
from .disk import (
    BLOCK_BYTES,
    Digested,
    digest,
    digest_of,
    failed,
    fsync_dir,
    identity,
    open_regular,
    rename_noreplace,
    same_file_system,
    write_all,
)

PART_NAME: Final = re.compile(r"\.[0-9a-f]{16}\.part")
SYNC_BYTES: Final = 64 << 20  # forced to disk at a time, so that an error shows soon and a stop is obeyed in between
_given_up: Final[set[tuple[int, int]]] = set()  # device and number of files the disk failed to make durable


class Step(Enum):
    """How far a move has come; each is durable when it is told."""

    COPIED = "the target stands, the source as well"
    MOVED = "the target stands, the source is gone"
    NEWER = "the target stands; the source's name holds other bytes by now, a new scan, which is left alone"


def _ignore(step: Step) -> None:
    """Nobody needs to be told."""


def _go_on() -> None:
    """Nobody asks to stop."""


def move(
    source: Path,
    target: Path,
    sha256: str,
    on_step: Callable[[Step], None] = _ignore,
    known: Identity | None = None,
    proceed: Callable[[], None] = _go_on,
) -> Digested:
    """Bring the file with this digest from source to target; the target's folder must exist.

    Idempotent: called again with the same arguments after any interruption it ends in the same state, and on a
    finished move it changes nothing. `known` is the identity under which the digest was taken: a rename then need not
    read the file again. `proceed` is asked at every block that is read or copied and may raise BrokenOff: nothing is
    left of a copy then. Raises MoveError, the source untouched, when source or target hold other bytes than named, or
    the system refuses; a target that holds the bytes already counts as this move's own work.
    """
    _different_places(source, target)
    if identity(source) is None:
        found = _the_file_at(target, sha256, f"{shown(str(source))} is gone and", proceed)
        _make_durable(target.parent, source.parent)
        on_step(Step.MOVED)
        return found
    if identity(target) is not None:
        _make_target_durable(target, sha256, proceed)
    elif not _renamed(source, target, sha256, known, proceed):
        _copied(source, target, sha256, proceed)
    end = Step.MOVED
    if identity(source) is not None:
        on_step(Step.COPIED)
        end = _remove_source(source, target, sha256, proceed)
    on_step(end)
    return _digested_now(target, sha256)


def copy(source: Path, target: Path, sha256: str, proceed: Callable[[], None] = _go_on) -> Digested:
    """A second file with these bytes, read back and durable; the source stays. Idempotent, never overwrites."""
    _different_places(source, target)
    if identity(target) is not None:
        _make_target_durable(target, sha256, proceed)
    else:
        _copied(source, target, sha256, proceed)
    return _digested_now(target, sha256)


def write_beside(path: Path, data: bytes, replace: bool = False) -> None:
    """Write a whole small file so that its name never stands for half of it. Without `replace`, another file at the
    name is a MoveError, the same bytes there are not."""
    sha256 = hashlib.sha256(data).hexdigest()
    part = _part(path.parent, sha256)
    try:
        part.unlink(missing_ok=True)
        fd = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o666)
        try:
            write_all(fd, memoryview(data))
            os.fsync(fd)
        finally:
            os.close(fd)
        if replace:
            part.replace(path)
        else:
            rename_noreplace(part, path)
        fsync_dir(path.parent)
    except FileExistsError:
        _discard(part)
        _the_file_at(path, sha256, "")
        _make_durable(path.parent)
    except OSError as error:
        _discard(part)
        raise failed("writing", path, error) from error


def make_folder(folder: Path) -> None:
    """The folder and its parents, durable; one that is there already is fine."""
    try:
        if not folder.is_dir():
            make_folder(folder.parent)
            folder.mkdir(exist_ok=True)
            fsync_dir(folder.parent)
    except OSError as error:
        raise failed("making the folder", folder, error) from error


def remove_stale_parts(folder: Path) -> tuple[Path, ...]:
    """Remove what interrupted copies left in a folder; only names of our own making, only plain files."""
    removed = []
    try:
        for entry in sorted(os.scandir(folder), key=lambda entry: entry.name):
            if PART_NAME.fullmatch(entry.name) and entry.is_file(follow_symlinks=False):
                Path(entry.path).unlink(missing_ok=True)
                removed.append(Path(entry.path))
    except OSError as error:
        raise failed("tidying", folder, error) from error
    return tuple(removed)


def _different_places(source: Path, target: Path) -> None:
    """One directory entry under two names (bind mount, linked folder) must never be 'moved': unlinking the source
    would remove the target."""
    try:
        same_folder = source.parent.exists() and source.parent.samefile(target.parent)
    except OSError as error:
        raise failed("moving to", target, error) from error
    if not same_folder:
        return
    here, there = identity(source), identity(target)
    same_entry = here is not None and there is not None and here == there and source.lstat().st_nlink == 1
    if source.name == target.name or same_entry:
        raise MoveError(f"{shown(str(source))} and {shown(str(target))} are the same file; nothing is to be moved")


def _the_file_at(path: Path, sha256: str, before: str, proceed: Callable[[], None] = _go_on) -> Digested:
    if identity(path) is None:
        raise MoveError(f"{before} {shown(str(path))} is not there either; look for the file, then run verify".strip())
    found = digest(path, lambda octets: proceed())
    if found.sha256 != sha256:
        raise MoveError(f"{before} another file stands at {shown(str(path))}; it is kept, choose another name".strip())
    return found


def _digested_now(target: Path, sha256: str) -> Digested:
    now = identity(target)
    if now is None:
        raise MoveError(f"{shown(str(target))} vanished right after it was written; look at that disk")
    return Digested(sha256, now)


def _make_durable(*folders: Path) -> None:
    for folder in folders:
        try:
            fsync_dir(folder)
        except FileNotFoundError:
            continue  # a source folder may have been tidied away since
        except OSError as error:
            raise failed("securing the folder", folder, error) from error


def _make_target_durable(target: Path, sha256: str, proceed: Callable[[], None]) -> None:
    """The target of an earlier attempt: its bytes are proven by reading, then forced to disk with its name."""
    _the_file_at(target, sha256, "", proceed)
    try:
        fd = open_regular(target)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)
    except OSError as error:
        raise failed("securing", target, error) from error
    _make_durable(target.parent)


def _renamed(source: Path, target: Path, sha256: str, known: Identity | None, proceed: Callable[[], None]) -> bool:
    """Move by renaming; False where it has to be copied: to another file system, or because the disk could not make
    durable what the scan program wrote. Asking it again may report success for pages it has given up, so such a file
    is written anew, from what can still be read of it."""
    try:
        if not same_file_system(source, target.parent):
            return False
        if known is None or identity(source) != known:
            _the_file_at(source, sha256, "the scan changed since it was checked:", proceed)
        if not _synced(source):
            return False
        rename_noreplace(source, target)
    except FileExistsError:
        _the_file_at(target, sha256, "")
    except OSError as error:
        if error.errno == errno.EXDEV:
            return False
        raise failed("moving to", target, error) from error
    _make_durable(target.parent, source.parent)
    return True


def _synced(source: Path) -> bool:
    """Force the scan to disk, which its program may never have done. False once that has failed, for good."""
    fd = open_regular(source)
    try:
        state = os.fstat(fd)
        if (state.st_dev, state.st_ino) in _given_up:
            return False
        try:
            os.fsync(fd)
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            _given_up.add((state.st_dev, state.st_ino))
            return False
        return True
    finally:
        os.close(fd)


def _copied(source: Path, target: Path, sha256: str, proceed: Callable[[], None]) -> None:
    """Copy, prove and name the target. A copy whose fsync failed is thrown away and written anew from the source,
    once: asking the same pages to be synced again may report success for data that is lost."""
    part = _part(target.parent, sha256)
    try:
        try:
            _write_part(source, part, sha256, proceed)
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            _write_part(source, part, sha256, proceed)
        try:
            rename_noreplace(part, target)
        except FileExistsError:
            _discard(part)
            _the_file_at(target, sha256, "")
        fsync_dir(target.parent)
    except OSError as error:
        _discard(part)
        raise failed("copying to", target, error) from error
    except MoveError:
        _discard(part)
        raise


def _write_part(source: Path, part: Path, sha256: str, proceed: Callable[[], None]) -> None:
    part.unlink(missing_ok=True)
    reading = open_regular(source)
    try:
        before = os.fstat(reading)
        writing = os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o666)
        try:
            if _stream(reading, writing, source, proceed) != sha256:
                raise MoveError(f"{shown(str(source))} changed since it was checked; it is measured again")
            os.utime(writing, ns=(before.st_atime_ns, before.st_mtime_ns))
            os.fsync(writing)
            os.posix_fadvise(writing, 0, 0, os.POSIX_FADV_DONTNEED)  # read back from the disk, not from memory
            if digest_of(writing, lambda octets: proceed()) != sha256:
                raise MoveError(f"the copy of {shown(str(source))} reads back differently; look at the target's disk")
        finally:
            os.close(writing)
    finally:
        os.close(reading)


def _stream(reading: int, writing: int, source: Path, proceed: Callable[[], None]) -> str:
    sha, block = hashlib.sha256(), bytearray(BLOCK_BYTES)
    view, unsynced = memoryview(block), 0
    while True:
        try:
            count = os.readv(reading, [block])
        except OSError as error:
            raise failed("reading", source, error) from error
        if not count:
            return sha.hexdigest()
        sha.update(view[:count])
        write_all(writing, view[:count])
        unsynced += count
        if unsynced >= SYNC_BYTES:
            os.fdatasync(writing)
            unsynced = 0
        proceed()


def _remove_source(source: Path, target: Path, sha256: str, proceed: Callable[[], None]) -> Step:
    """Unlink the source, having read it once more: what changed since the copy is a new scan and stays."""
    now = digest(source, lambda octets: proceed())
    if now.sha256 != sha256:
        return Step.NEWER
    if identity(source) != now.identity or identity(target) is None:
        raise MoveError(f"{shown(str(source))} changed at the last moment; both are kept, it is tried again")
    try:
        source.unlink()
        fsync_dir(source.parent)
    except OSError as error:
        raise failed("removing the moved scan", source, error) from error
    return Step.MOVED


def _part(folder: Path, sha256: str) -> Path:
    """Short whatever the target is called: a name of 255 bytes has no room for a suffix."""
    return folder / f".{sha256[:16]}.part"


def _discard(part: Path) -> None:
    with suppress(OSError):  # the reason why it is discarded is already on its way
        part.unlink(missing_ok=True)
