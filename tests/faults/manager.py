"""A service manager of our own: systemd as process 1 of namespaces, over a throw-away layer on this machine's files.
Needs root and a kernel that lets us; skipped, with the reason, where it does not."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path

import pytest

SYSTEMD = Path("/lib/systemd/systemd")
USER, NUMBER = "scan", 1500
# what would reach the machine itself from within
MASKED = ("systemd-sysctl", "systemd-modules-load", "systemd-udevd", "systemd-udev-trigger", "systemd-binfmt",
          "systemd-remount-fs", "systemd-random-seed", "systemd-logind", "systemd-networkd")  # fmt: skip
BOOT = r"""
set -e
mount --make-rprivate /
mount -t tmpfs tmpfs "$PLACE"
mkdir "$PLACE/up" "$PLACE/work" "$PLACE/root"
mount -t overlay overlay -o lowerdir=/,upperdir="$PLACE/up",workdir="$PLACE/work" "$PLACE/root"
cd "$PLACE/root"
mount -t proc proc proc
mount -t sysfs -o ro sysfs sys
mount -t cgroup2 cgroup2 sys/fs/cgroup
for folder in run tmp dev; do mount -t tmpfs -o mode=755 tmpfs $folder; done
for node in null zero full random urandom tty; do cp -a /dev/$node dev/; done
mkdir dev/shm; mount -t tmpfs tmpfs dev/shm; ln -s /proc/self/fd dev/fd; ln -s pts/ptmx dev/ptmx
mkdir -p srv/prints; mount --bind "$STUDIO" srv/prints
rm -rf etc/systemd/system/*.wants var/log/journal; mkdir -p var/log/journal opt/dawnproof/.venv/bin
echo 0123456789abcdef0123456789abcdef > etc/machine-id
echo "$USER:x:$NUMBER:$NUMBER::/srv:/bin/sh" >> etc/passwd; echo "$USER:x:$NUMBER:" >> etc/group
for unit in $MASKED; do ln -sf /dev/null etc/systemd/system/$unit.service; done
cp -r "$FILES/." .
mkdir -p mnt/before; pivot_root . mnt/before; cd /; umount -l /mnt/before
hostname lane
exec env -i container=lane PATH=/usr/bin:/bin:/usr/sbin:/sbin /lib/systemd/systemd --system --unit=sysinit.target \
    --log-target=journal --show-status=no
"""


class Manager:
    """systemd, its journal, and one studio at /srv/prints that belongs to the user the unit names."""

    def __init__(self, place: Path, studio: Path, units: Mapping[str, str]) -> None:
        self._cgroup = _own_cgroup()
        files = _written(place / "files", units)
        (place / "layer").mkdir()
        for path in (studio, *studio.rglob("*")):
            os.chown(path, NUMBER, NUMBER)
        given = {"PLACE": str(place / "layer"), "STUDIO": str(studio), "FILES": str(files), "USER": USER,
                 "NUMBER": str(NUMBER), "MASKED": " ".join(MASKED), "CGROUP": str(self._cgroup)}  # fmt: skip
        inner = 'echo $$ > "$CGROUP/cgroup.procs" && exec unshare -p -m -u -i -C -f sh -c "$BOOT"'
        self._log = (place / "boot.log").open("wb")
        self._outer = subprocess.Popen(["sh", "-c", inner], env=os.environ | given | {"BOOT": BOOT},
                                       stdout=self._log, stderr=self._log)  # fmt: skip
        try:
            self._wait_until_it_runs(place / "boot.log")
        except BaseException:
            self.end()
            raise

    def _wait_until_it_runs(self, log: Path) -> None:
        until = time.monotonic() + 60
        while self.run("systemctl", "is-active", "sysinit.target").strip() != "active":
            if self._outer.poll() is not None or time.monotonic() > until:
                pytest.skip(f"systemd does not run as process 1 here: {log.read_text(errors='replace')[-300:]}")
            time.sleep(0.3)

    def run(self, *command: str, check: bool = False) -> str:
        """What a command prints that is run inside, as root."""
        first = _child_of(self._outer.pid)
        if not first:
            return ""
        inside = ["nsenter", "-t", str(first), "-p", "-m", "-u", "-i", "-C", *command]
        done = subprocess.run(inside, capture_output=True, text=True, timeout=180, check=False)
        assert not check or done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def shown(self, unit: str, what: str) -> str:
        """One property of a unit."""
        return self.run("systemctl", "show", "-p", what, "--value", unit).strip()

    def end(self) -> None:
        """Process 1 takes everything in its namespaces along."""
        if first := _child_of(self._outer.pid):
            os.kill(first, 9)
        self._outer.kill()
        self._outer.wait(timeout=30)
        self._log.close()
        until = time.monotonic() + 10
        while self._cgroup.is_dir() and time.monotonic() < until:
            for folder in sorted(self._cgroup.rglob("*"), key=lambda p: -len(p.parts)):
                if folder.is_dir():
                    _removed(folder)
            _removed(self._cgroup)
            time.sleep(0.1)


def _removed(folder: Path) -> None:
    try:
        folder.rmdir()
    except OSError:
        return  # still has processes that are ending


def _own_cgroup() -> Path:
    if os.geteuid() != 0:
        pytest.skip("a service manager of our own needs root")
    if not SYSTEMD.exists() or not all(shutil.which(p) for p in ("unshare", "nsenter", "systemctl", "journalctl")):
        pytest.skip("systemd is not installed")
    lines = Path("/proc/self/mountinfo").read_text().splitlines()
    mounts = [line.split()[4] for line in lines if " - cgroup2 " in line]
    if not mounts:
        pytest.skip("no unified control groups are mounted here")
    made = Path(mounts[0]) / f"dawnproof-test-{os.getpid()}"
    try:
        made.mkdir()
    except OSError as error:
        pytest.skip(f"no control group may be made here: {error}")
    return made


def _written(folder: Path, units: Mapping[str, str]) -> Path:
    """The units, and the command where the unit expects it: this checkout, run by this interpreter."""
    for name, text in units.items():
        path = folder / "etc/systemd/system" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    command = folder / "opt/dawnproof/.venv/bin/dawnproof"
    command.parent.mkdir(parents=True)
    daemon = Path(__file__).resolve().parents[2] / "daemon"
    command.write_text(f'#!/bin/sh\nPYTHONPATH={daemon} exec {sys.executable} -m dawnproof "$@"\n')
    command.chmod(0o755)
    return folder


def _child_of(pid: int) -> int:
    try:
        return int(Path(f"/proc/{pid}/task/{pid}/children").read_text().split()[0])
    except (OSError, IndexError):
        return 0
