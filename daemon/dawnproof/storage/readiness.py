"""Is this machine ready: what the daemon needs, looked at one by one, each with its mend."""

from __future__ import annotations

import importlib.metadata
import os
import platform
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .disk import rename_noreplace
from .studio import NETWORK_TYPES, Studio, file_system

LIBRARIES = ("pyvips", "pyvips-binary", "tifffile", "imagecodecs", "numpy", "opencv-python-headless", "watchdog")
LEAST_WATCHES, LEAST_MEMORY_GB = 8192, 3.0


@dataclass(frozen=True, slots=True)
class Line:
    """One thing looked at."""

    ok: bool
    about: str
    text: str


def examine_machine(studio: Studio | None) -> tuple[Line, ...]:
    """Versions, codecs, memory and watch limits; with a studio its folders, space and ledger's disk as well."""
    lines = [*_versions(), _codecs(), _memory(), _watches()]
    if studio is not None:
        lines += [*_folders(studio), _ledger_disk(studio), _jobs(studio)]
    return tuple(lines)


def _versions() -> Iterator[Line]:
    version = platform.python_version()
    yield Line(
        sys.version_info >= (3, 11),
        "Python",
        f"{version}" if sys.version_info >= (3, 11) else f"{version}; 3.11 or newer is needed",
    )
    yield Line(sys.platform == "linux", "system", f"{platform.system()} {platform.release()}")
    for name in LIBRARIES:
        try:
            yield Line(True, name, importlib.metadata.version(name))
        except importlib.metadata.PackageNotFoundError:
            yield Line(False, name, "is not installed; install dawnproof with pip, which brings it")


def _codecs() -> Line:
    import imagecodecs

    needed: dict[str, Any] = {"LZW": imagecodecs.LZW, "deflate": imagecodecs.DEFLATE, "ZSTD": imagecodecs.ZSTD}
    missing = [name for name, codec in needed.items() if not codec.available]
    return Line(
        not missing,
        "codecs",
        f"missing: {', '.join(missing)}; install imagecodecs again" if missing else "LZW, deflate, ZSTD",
    )


def _memory() -> Line:
    total = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    enough = total >= LEAST_MEMORY_GB
    return Line(enough, "memory", f"{total:.1f} GB" + ("" if enough else f"; {LEAST_MEMORY_GB:g} GB are needed"))


def _watches() -> Line:
    try:
        most = int(Path("/proc/sys/fs/inotify/max_user_watches").read_text("ascii"))
    except (OSError, ValueError):
        return Line(True, "folder events", "not to be had; the full scan finds the files")
    enough = most >= LEAST_WATCHES
    mend = "" if enough else f"; raise fs.inotify.max_user_watches to {LEAST_WATCHES} (sysctl)"
    return Line(enough, "folder events", f"{most} watches allowed{mend}")


def _folders(studio: Studio) -> Iterator[Line]:
    for folder in studio.roots():
        if not folder.is_dir():
            yield Line(False, str(folder), "is missing; mount its disk or make the folder")
            continue
        problem = _try_out(folder)
        free = shutil.disk_usage(folder).free / 1e9
        reserve = studio.book.archive.reserve_gb
        if not problem and folder == studio.archive and free < reserve:
            problem = f"{free:.1f} GB free, less than the reserve of {reserve:g} GB: make room"
        yield Line(not problem, str(folder), problem or f"{file_system(folder)}, {free:.0f} GB free")


def _try_out(folder: Path) -> str:
    """Write, rename without replacing and remove a file, as a filing does."""
    try:
        with tempfile.NamedTemporaryFile(prefix=".dawnproof-ready-", dir=folder, delete=False) as file:
            file.write(b"ready")
            file.flush()
            os.fsync(file.fileno())
        moved = Path(file.name + ".moved")
        rename_noreplace(Path(file.name), moved)
        moved.unlink()
    except OSError as error:
        return f"cannot be written ({error.strerror}); give this user the right, or mend the disk"
    return ""


def _ledger_disk(studio: Studio) -> Line:
    kind = file_system(studio.root)
    local = kind not in NETWORK_TYPES
    return Line(
        local,
        "ledger",
        f"on {kind or 'a local disk'}" if local else f"on a network share ({kind}); keep the studio on a local disk",
    )


def _jobs(studio: Studio) -> Line:
    listed, problems = studio.job_list()
    return Line(not problems, "job list", "; ".join(problems) if problems else f"{len(listed)} expected works")
