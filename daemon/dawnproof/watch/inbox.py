"""The full scan of an inbox: the truth, of which events are only hints."""

from __future__ import annotations

import os
import stat
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from enum import Enum
from itertools import zip_longest
from pathlib import Path
from typing import Final

from ..errors import EnvironmentFault
from ..model import Identity, shown

MOST_ENTRIES: Final = 200_000
DEEPEST: Final = 16


class Kind(Enum):
    """What stands at a name, links not followed."""

    FILE = "a plain file"
    HARD_LINKED = "a plain file that has other names too"
    LINK = "a symbolic link"
    FIFO = "a FIFO"
    SOCKET = "a socket"
    DEVICE = "a device"

    @classmethod
    def of(cls, state: os.stat_result) -> Kind:
        if stat.S_ISREG(state.st_mode):
            return cls.FILE if state.st_nlink == 1 else cls.HARD_LINKED
        kinds = {stat.S_IFLNK: cls.LINK, stat.S_IFIFO: cls.FIFO, stat.S_IFSOCK: cls.SOCKET}
        return kinds.get(stat.S_IFMT(state.st_mode), cls.DEVICE)


@dataclass(frozen=True, slots=True)
class Entry:
    """One name in the inbox. `bed` is the bed's folder it lies in, None for elsewhere (the default bed)."""

    path: Path
    bed: str | None
    identity: Identity
    kind: Kind


@dataclass(frozen=True, slots=True)
class Trouble:
    """A name that could not be looked at, with the system's reason."""

    path: Path
    reason: str


@dataclass(frozen=True, slots=True)
class InboxScan:
    """All entries in fair order: the oldest of each bed, then the second oldest of each …; `cut_short` tells that
    there were more than are looked at in one go."""

    entries: tuple[Entry, ...]
    troubles: tuple[Trouble, ...]
    cut_short: bool = False


def scan_inbox(
    root: Path, beds: Collection[str], most: int = MOST_ENTRIES, not_into: Collection[Path] = ()
) -> InboxScan:
    """Look at everything below the inbox once; folders are entered, links never, and those `not_into` are not even
    looked at. An entry that cannot be looked at is a Trouble, the others go on. Raises EnvironmentFault when the inbox
    itself cannot be read."""
    by_bed: dict[str | None, list[Entry]] = {None: []} | {bed: [] for bed in beds}
    bed_folders = {bed.casefold(): bed for bed in beds}
    troubles: list[Trouble] = []
    count = 0
    to_enter: list[tuple[Path, str | None, int]] = [(root, None, 0)]
    while to_enter:
        folder, bed, depth = to_enter.pop()
        try:
            with os.scandir(folder) as listing:
                for item in listing:
                    if Path(item.path) in not_into:
                        continue
                    count += 1
                    if count > most:
                        return InboxScan(_fair(by_bed.values()), tuple(troubles), cut_short=True)
                    _look_at(item, (bed, depth), bed_folders, by_bed, to_enter, troubles)
        except OSError as error:
            if folder == root:
                raise EnvironmentFault(
                    f"the inbox {shown(str(root))} cannot be read ({error.strerror}); mount it or mend its permissions"
                ) from error
            troubles.append(Trouble(folder, f"the folder cannot be read ({error.strerror}); check its permissions"))
    return InboxScan(_fair(by_bed.values()), tuple(troubles))


def _look_at(
    item: os.DirEntry[str],
    where: tuple[str | None, int],
    bed_folders: dict[str, str],
    by_bed: dict[str | None, list[Entry]],
    to_enter: list[tuple[Path, str | None, int]],
    troubles: list[Trouble],
) -> None:
    bed, depth = where
    path = Path(item.path)
    try:
        state = item.stat(follow_symlinks=False)
    except FileNotFoundError:
        return
    except OSError as error:
        troubles.append(Trouble(path, f"it cannot be looked at ({error.strerror}); check disk and permissions"))
        return
    if not stat.S_ISDIR(state.st_mode):
        by_bed[bed].append(Entry(path, bed, Identity.of(state), Kind.of(state)))
    elif depth >= DEEPEST:
        troubles.append(Trouble(path, f"folders are nested more than {DEEPEST} deep; put the scans higher up"))
    elif not item.name.startswith("."):
        to_enter.append((path, bed_folders.get(item.name.casefold()) if depth == 0 else bed, depth + 1))


def _fair(beds: Iterable[list[Entry]]) -> tuple[Entry, ...]:
    """One bed's flood must not make the others wait: in turns, each bed's oldest first."""
    queues = [sorted(bed, key=lambda entry: (entry.identity.mtime_ns, str(entry.path))) for bed in beds]
    return tuple(entry for turn in zip_longest(*queues) for entry in turn if entry is not None)
