"""A FUSE pass-through of a folder whose operations fail, or take their time, while a test says so.

    python fault_folder.py BACK MOUNT

Each line of the file BACK.ctl names an operation and what becomes of it: `read EIO`, `write EDQUOT`, `fsync SLEEP` (for
as long as the line stands), `all SLEEP`. What is written straight into BACK appears in MOUNT without an event, as on a
share that another machine writes to. Needs mfusepy and libfuse3.
"""

from __future__ import annotations

import errno
import os
import sys
import time
from pathlib import Path
from typing import Any

import mfusepy

KEPT = ("st_mode", "st_nlink", "st_size", "st_uid", "st_gid", "st_ino")


def _refusal(code: int) -> OSError:
    error: OSError = mfusepy.FuseOSError(code)  # type: ignore[no-untyped-call]
    return error


class FaultFolder(mfusepy.Operations):
    """Every operation is first held against the control file."""

    def __init__(self, back: Path) -> None:
        self._back = str(back.resolve())
        self._control = Path(self._back + ".ctl")

    def _faults(self) -> list[list[str]]:
        try:
            return [line.split() for line in self._control.read_text().splitlines() if line.strip()]
        except FileNotFoundError:
            return []

    def _strike(self, operation: str) -> None:
        while any(line in self._faults() for line in ([operation, "SLEEP"], ["all", "SLEEP"])):
            time.sleep(0.05)
        for name, fault in self._faults():
            if name == operation:
                raise _refusal(getattr(errno, fault))

    def _at(self, path: str) -> str:
        return self._back + path

    def getattr(self, path: str, fh: Any = None) -> dict[str, Any]:
        self._strike("getattr")
        try:
            state = os.lstat(self._at(path))
        except OSError as error:
            raise _refusal(error.errno or errno.EIO) from None
        times = {f"st_{t}time": getattr(state, f"st_{t}time_ns") / 1e9 for t in "amc"}
        return {key: getattr(state, key) for key in KEPT} | times

    def statfs(self, path: str) -> dict[str, int]:
        self._strike("statfs")
        state = os.statvfs(self._at(path))
        return {name: getattr(state, name) for name in ("f_bsize", "f_frsize", "f_blocks", "f_bfree", "f_bavail")}

    def readdir(self, path: str, fh: Any) -> list[str]:
        self._strike("readdir")
        return [".", "..", *(p.name for p in Path(self._at(path)).iterdir())]

    def create(self, path: str, mode: int, fi: Any = None) -> int:
        self._strike("create")
        return os.open(self._at(path), os.O_CREAT | os.O_RDWR, mode)

    def open(self, path: str, flags: int) -> int:
        self._strike("open")
        return os.open(self._at(path), flags & ~os.O_APPEND)

    def read(self, path: str, size: int, offset: int, fh: int) -> bytes:
        self._strike("read")
        return os.pread(fh, size, offset)

    def write(self, path: str, data: bytes, offset: int, fh: int) -> int:
        self._strike("write")
        return os.pwrite(fh, data, offset)

    def truncate(self, path: str, length: int, fh: Any = None) -> None:
        os.truncate(self._at(path), length)

    def fsync(self, path: str, datasync: int, fh: int) -> int:
        self._strike("fsync")
        os.fsync(fh)
        return 0

    def flush(self, path: str, fh: int) -> int:
        self._strike("flush")
        return 0

    def release(self, path: str, fh: int) -> int:
        os.close(fh)
        return 0

    def unlink(self, path: str) -> None:
        self._strike("unlink")
        Path(self._at(path)).unlink()

    def rename(self, old: str, new: str, flags: int = 0) -> None:
        self._strike("rename")
        Path(self._at(old)).replace(self._at(new))

    def mkdir(self, path: str, mode: int) -> None:
        self._strike("mkdir")
        Path(self._at(path)).mkdir()

    def rmdir(self, path: str) -> None:
        self._strike("rmdir")
        Path(self._at(path)).rmdir()

    def chmod(self, path: str, mode: int) -> int:
        return 0

    def chown(self, path: str, uid: int, gid: int) -> int:
        return 0

    def utimens(self, path: str, times: Any = None, **_: Any) -> int:
        if times:
            os.utime(self._at(path), ns=(int(times[0]), int(times[1])))
        return 0


if __name__ == "__main__":
    mfusepy.FUSE(FaultFolder(Path(sys.argv[1])), sys.argv[2], foreground=True, nothreads=False)
