"""Small file systems of our own for tests: full, read-only, dying, and with the power cut. They need root and a
kernel that lets us mount; tests skip with the reason where it does not."""

from __future__ import annotations

import fcntl
import os
import shutil
import struct
import subprocess
from pathlib import Path

import pytest

FS_IOC_SHUTDOWN = 0x8004587D
NO_LOG_FLUSH = 2


def run(*command: str) -> None:
    """Skips the test when the command cannot be had or is refused."""
    if shutil.which(command[0]) is None:
        pytest.skip(f"{command[0]} is not installed")
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"refused here: {' '.join(command)}: {done.stderr.strip()}")


class Disk:
    """An ext4 file system in a file, mounted at `folder`."""

    def __init__(self, folder: Path, megabytes: int = 16) -> None:
        if os.geteuid() != 0:
            pytest.skip("mounting a loop file system needs root")
        self.folder, self.image = folder, folder.with_suffix(".img")
        folder.mkdir()
        with self.image.open("wb") as file:
            file.truncate(megabytes << 20)
        run("mkfs.ext4", "-q", "-F", str(self.image))
        self.mount()

    def mount(self) -> None:
        run("mount", "-o", "loop", str(self.image), str(self.folder))

    def unmount(self) -> None:
        subprocess.run(["umount", str(self.folder)], check=False, capture_output=True)

    def cut_power(self) -> None:
        """Nothing that is not on the disk by now will ever be; all further access fails."""
        fd = os.open(self.folder, os.O_RDONLY)
        try:
            fcntl.ioctl(fd, FS_IOC_SHUTDOWN, struct.pack("I", NO_LOG_FLUSH))
        except OSError as error:
            pytest.skip(f"no power cut can be simulated here: {error}")
        finally:
            os.close(fd)

    def power_up(self) -> None:
        self.unmount()
        self.mount()

    def lose_all_behind(self, megabytes: int) -> None:
        """The device ends early: what lies behind cannot be read any more."""
        self.unmount()
        self.mount()
        os.truncate(self.image, megabytes << 20)


def small_memory_disk(folder: Path, options: str) -> None:
    """A tmpfs, `options` as for mount: size=64k, nr_inodes=3 …"""
    folder.mkdir(exist_ok=True)
    if os.geteuid() != 0:
        pytest.skip("mounting tmpfs needs root")
    run("mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder))
