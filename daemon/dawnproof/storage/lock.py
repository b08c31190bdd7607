"""Who has a studio open: one daemon at a time, named to whoever comes second."""

from __future__ import annotations

import fcntl
import os
import socket
from datetime import datetime

from ..errors import EnvironmentFault
from ..model import shown
from .disk import failed
from .studio import Studio

NOTE_BYTES = 400  # what is read of a holder's note, whoever wrote it


class StudioLock:
    """Held by the one daemon of a studio. The kernel frees it when its process ends, however it ends, so the note of
    a dead one hinders nobody; it holds across process and host names too, where two containers share one disk.
    EnvironmentFault, naming the holder, where another has it."""

    def __init__(self, studio: Studio, since: datetime) -> None:
        path = studio.private / "lock"
        try:
            self._fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o644)
        except OSError as error:
            raise EnvironmentFault(str(failed("opening", path, error))) from error
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            holder = _note_in(self._fd)
            os.close(self._fd)
            raise EnvironmentFault(f"another daemon watches {studio.root} already ({holder}); look on with `dawnproof "
                                   "look`, or stop that one first") from None  # fmt: skip
        self._leave_note(since)

    def _leave_note(self, since: datetime) -> None:
        """A disk without room for it must not keep the daemon from saying so itself."""
        note = f"process {os.getpid()} on {socket.gethostname()}, since {since:%Y-%m-%d %H:%M}\n"
        try:
            os.ftruncate(self._fd, 0)
            os.pwrite(self._fd, note.encode(), 0)
        except OSError:
            return

    def release(self) -> None:
        """Give the studio free."""
        os.close(self._fd)


def _note_in(fd: int) -> str:
    lines = os.pread(fd, NOTE_BYTES, 0).splitlines()
    return shown(lines[0].strip()) if lines and lines[0].strip() else "it left no note of itself"
