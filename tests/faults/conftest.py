"""Folders on small disks of their own, and a folder that fails on demand; skipped, with the reason, where refused."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import pytest
from faults import evening
from real_disks import Disk, small_memory_disk


class Mounted(Protocol):
    """Mounts a tmpfs at a folder, options as for mount."""

    def __call__(self, folder: Path, options: str = "size=64m") -> Path: ...


@pytest.fixture
def memory_disk() -> Iterator[Mounted]:
    """Mounts a tmpfs at a folder, options as for mount."""
    made: list[Path] = []

    def mount(folder: Path, options: str = "size=64m") -> Path:
        small_memory_disk(folder, options)
        made.append(folder)
        return folder

    yield mount
    for folder in reversed(made):
        while subprocess.run(["umount", "-l", str(folder)], check=False, capture_output=True).returncode == 0:
            pass


@pytest.fixture
def loop_disk(tmp_path: Path) -> Iterator[Disk]:
    made = Disk(tmp_path / "disk", megabytes=48)
    yield made
    subprocess.run(["umount", "-l", str(made.folder)], check=False, capture_output=True)


class FaultyShare:
    """A FUSE folder: `mount` is what the daemon sees, `back` what another machine writes to."""

    def __init__(self, back: Path, mount: Path) -> None:
        self.back, self.mount = back, mount
        self._control = back.with_name(back.name + ".ctl")

    def fail(self, *lines: str) -> None:
        hidden = self._control.with_suffix(".new")
        hidden.write_text("\n".join(lines) + "\n")
        hidden.rename(self._control)

    def heal(self) -> None:
        self._control.unlink(missing_ok=True)


@pytest.fixture
def share(tmp_path: Path) -> Iterator[FaultyShare]:
    if importlib.util.find_spec("mfusepy") is None:
        pytest.skip("mfusepy is not installed: no folder can be made to fail on demand")
    if not Path("/dev/fuse").exists() or shutil.which("fusermount3") is None:
        pytest.skip("no FUSE on this machine (/dev/fuse, fuse3)")
    made = FaultyShare(tmp_path / "back", tmp_path / "share")
    made.back.mkdir()
    made.mount.mkdir()
    program = Path(__file__).with_name("fault_folder.py")
    process = subprocess.Popen([sys.executable, str(program), str(made.back), str(made.mount)], stderr=subprocess.PIPE)
    until = time.monotonic() + 15
    while not os.path.ismount(made.mount):
        if process.poll() is not None or time.monotonic() > until:
            process.kill()
            pytest.skip(f"FUSE refused: {process.stderr.read().decode()[-200:] if process.stderr else ''}")
        time.sleep(0.05)
    yield made
    made.heal()
    subprocess.run(["fusermount3", "-uz", str(made.mount)], check=False, capture_output=True)
    try:
        process.wait(timeout=10)
    except subprocess.TimeoutExpired:
        process.kill()


@pytest.fixture(autouse=True, scope="session")
def remembered(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The same few scans are measured once."""
    folder = tmp_path_factory.mktemp("memory")
    evening.InlinePool.memory = evening.Memory(folder)
    yield folder
    evening.InlinePool.memory = None
