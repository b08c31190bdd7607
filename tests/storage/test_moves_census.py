"""The conserved quantity: whatever arrives under whatever name, whatever fails at whatever step, and however often it
is tried again, each scan that entered stands exactly once in the archive in the end, and nothing else does."""

from __future__ import annotations

import errno
import hashlib
import os
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from hypothesis import given, settings
from hypothesis import strategies as st

from dawnproof.errors import MoveError
from dawnproof.storage import disk, moves
from dawnproof.storage.free_names import free_name
from dawnproof.storage.moves import move, remove_stale_parts


class Died(BaseException):
    """The process is gone: nothing tidies up behind it."""


@dataclass(frozen=True)
class Fault:
    """What happens at the n-th step: an error of the system, or death."""

    step: int
    code: int | None

    def strike(self) -> None:
        if self.code is None:
            raise Died
        raise OSError(self.code, os.strerror(self.code))


@dataclass(frozen=True)
class Intent:
    """The row a ledger would hold."""

    source: Path
    target: Path
    sha256: str


@contextmanager
def failing(fault: Fault, across: bool) -> Iterator[None]:
    """The fault strikes before the step, or, for odd numbers, right after it was done."""
    count = 0

    def counted(act: Callable[..., Any]) -> Callable[..., Any]:
        def step(*given: Any, **options: Any) -> Any:
            nonlocal count
            count += 1
            struck = count == fault.step
            if struck and fault.step % 2 == 0:
                fault.strike()
            result = act(*given, **options)
            if struck:
                fault.strike()
            return result

        return step

    with (
        patch.object(os, "fsync", counted(os.fsync)),
        patch.object(os, "unlink", counted(os.unlink)),
        patch.object(os, "utime", counted(os.utime)),
        patch.object(moves, "write_all", counted(disk.write_all)),
        patch.object(moves, "rename_noreplace", counted(disk.rename_noreplace)),
        patch.object(moves, "same_file_system", lambda one, other: not across),
    ):
        yield


FAULTS = st.builds(Fault, st.integers(1, 9), st.sampled_from([None, None, errno.EIO, errno.ENOSPC, errno.EACCES]))
ARRIVALS = st.lists(
    st.tuples(
        st.sampled_from(["a.tif", "A.TIF", "b.tif"]), st.integers(0, 3), st.lists(FAULTS, max_size=3), st.booleans()
    ),
    min_size=1,
    max_size=6,
)


@settings(deadline=None, max_examples=100)
@given(ARRIVALS)
def test_every_scan_ends_exactly_once(arrivals: list[tuple[str, int, list[Fault], bool]]) -> None:
    memory = "/dev/shm" if Path("/dev/shm").is_dir() else None  # the power is never cut here: no disk is needed
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        inbox, archive = Path(folder) / "inbox", Path(folder) / "archive"
        inbox.mkdir()
        archive.mkdir()
        entered: Counter[str] = Counter()
        intents: list[Intent] = []
        for number, (name, content, faults, across) in enumerate(arrivals):
            data = f"scan {content}".encode()
            source = inbox / f"{number}-{name}"
            source.write_bytes(data)
            sha256 = hashlib.sha256(data).hexdigest()
            entered[sha256] += 1
            reserved = [intent.target.name for intent in intents]
            intent = Intent(source, archive / free_name(archive, name, reserved), sha256)
            intents.append(intent)
            for fault in faults:
                attempt(intent, fault, across)
                assert any(holds(path, sha256) for path in (intent.source, intent.target))
        for _ in range(2):  # a second restart changes nothing
            remove_stale_parts(archive)
            for intent in intents:
                move(intent.source, intent.target, intent.sha256)
            found = Counter(hashlib.sha256(path.read_bytes()).hexdigest() for path in archive.iterdir())
            assert found == entered
            assert list(inbox.iterdir()) == []


def attempt(intent: Intent, fault: Fault, across: bool) -> None:
    with failing(fault, across):
        try:
            move(intent.source, intent.target, intent.sha256)
        except (Died, MoveError):
            return


def holds(path: Path, sha256: str) -> bool:
    return path.exists() and hashlib.sha256(path.read_bytes()).hexdigest() == sha256
