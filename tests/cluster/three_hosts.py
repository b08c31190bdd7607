"""Three computers on one switch, in network namespaces of this machine: each with its own address, two of them with
their own mount of the store."""

from __future__ import annotations

import os
import shutil
import subprocess
from contextlib import ExitStack
from pathlib import Path

import pytest

ADDRESSES = {"desk": "10.213.7.1", "annex": "10.213.7.2", "barn": "10.213.7.3"}


def run(*command: str) -> None:
    subprocess.run(command, check=True, capture_output=True, text=True, timeout=20)


class Hosts:
    """`store` is desk's folder; the others see it at `mount`, and do not see desk's path."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self.store, self.mount, self.wrong = folder / "store", folder / "mnt", folder / "another-store"
        for made in (self.store, self.mount, self.wrong):
            made.mkdir()
        self._mark = f"dp{os.getpid() % 10000}"
        self._stack = stack
        self._make()

    def on(self, name: str, sees: Path | None = None, writable: bool = True) -> tuple[str, ...]:
        """The words that put a command on this host, its mount showing `sees` (None: nothing is mounted)."""
        there = ("ip", "netns", "exec", self._space(name))
        if name == "desk":
            return there
        binds = f"mount --bind {sees} {self.mount}; " if sees else ""
        binds += "" if writable else f"mount -o remount,bind,ro {self.mount}; "
        hidden = f'{binds}mount -t tmpfs none {self.store}; exec "$@"'
        return (*there, "unshare", "--mount", "sh", "-ec", hidden, "sh")

    def unmount(self, number: int) -> None:
        """Take the store away from this process and what it started; what is open stays open."""
        run("nsenter", "-t", str(number), "-m", "umount", "-l", str(self.mount))

    def cut(self, name: str) -> None:
        """Pull the plug: nothing is refused, nothing is heard."""
        run("ip", "-n", self._space("switch"), "link", "set", f"p-{name}", "down")

    def mend(self, name: str) -> None:
        run("ip", "-n", self._space("switch"), "link", "set", f"p-{name}", "up")

    def _space(self, name: str) -> str:
        return f"{self._mark}-{name}"

    def _make(self) -> None:
        if os.geteuid() != 0:
            pytest.skip("network namespaces are made by root alone")
        if shutil.which("ip") is None:
            pytest.skip("no network namespaces here: the command ip (iproute2) is missing")
        try:
            for name in ("switch", *ADDRESSES):
                run("ip", "netns", "add", self._space(name))
                self._stack.callback(subprocess.run, ["ip", "netns", "del", self._space(name)], capture_output=True)
            switch = self._space("switch")
            run("ip", "-n", switch, "link", "add", "br0", "type", "bridge")
            run("ip", "-n", switch, "link", "set", "br0", "up")
            for name, address in ADDRESSES.items():
                self._plug_in(name, address, switch)
            run("unshare", "--mount", "true")
        except (subprocess.CalledProcessError, subprocess.TimeoutExpired, OSError) as error:
            why = getattr(error, "stderr", "") or error
            pytest.skip(f"this machine refuses network namespaces: {str(why).strip()}")

    def _plug_in(self, name: str, address: str, switch: str) -> None:
        space = self._space(name)
        run("ip", "-n", switch, "link", "add", f"p-{name}", "type", "veth", "peer", "name", "eth0", "netns", space)
        run("ip", "-n", switch, "link", "set", f"p-{name}", "master", "br0")
        run("ip", "-n", switch, "link", "set", f"p-{name}", "up")
        run("ip", "-n", space, "addr", "add", f"{address}/24", "dev", "eth0")
        run("ip", "-n", space, "link", "set", "eth0", "up")
        run("ip", "-n", space, "link", "set", "lo", "up")
