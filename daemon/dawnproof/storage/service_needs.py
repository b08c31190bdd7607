"""What a studio needs to be left running by the machine's service manager, in words that can be followed and lines that
can be pasted. The shipped units do the rest (`systemd/`)."""

from __future__ import annotations

import os
import pwd
import re
import shutil
import stat
import sys
from dataclasses import dataclass
from pathlib import Path

from .readiness import Line
from .studio import Studio

UNIT_USER, UNIT_PROGRAM = "scan", Path("/opt/dawnproof/.venv/bin/dawnproof")  # as the shipped unit has them
MANAGER = Path("/run/systemd/system")
LINGER = Path("/var/lib/systemd/linger")
HOMES = (Path("/home"), Path("/root"), Path("/run/user"))
NETWORK = ("PrivateNetwork=no", "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6", "IPAddressDeny=")
HELPERS = ("ProcSubset=all",)  # the cluster's library reads the machine's memory where it is loaded


@dataclass(frozen=True, slots=True)
class ServiceNeeds:
    """One studio as a service: the unit's full name, the account it runs as, where the program is, what of it lies in
    folders of people, which a service does not see, folders outside the studio, why it needs the network ('' where it
    does not)."""

    unit: str
    account: str
    program: Path
    at_home: tuple[Path, ...]
    outside: tuple[Path, ...]
    network: str


def service_needs(studio: Studio) -> ServiceNeeds:
    """Read from rule book and folders. The account is that of the newest file in the inbox, or of the inbox."""
    folders = [*studio.roots(), *(studio.inbox / bed.name for bed in studio.book.beds)]
    outside = {folder.resolve() for folder in folders if folder.exists()}
    outside = {folder for folder in outside if not folder.is_relative_to(studio.root.resolve())}
    reasons = [why for wanted, why in ((studio.book.mail.host, "mail"), (studio.book.work.engine == "dask", "helpers"))
               if wanted]  # fmt: skip
    return ServiceNeeds(
        f"dawnproof@{escaped(studio.root.resolve())}.service",
        _name_of(_scans_owner(studio.inbox)),
        Path(shutil.which("dawnproof", path=str(Path(sys.prefix) / "bin")) or UNIT_PROGRAM),
        tuple(sorted(f for f in _program_folders() if any(f.is_relative_to(home) for home in HOMES))),
        tuple(sorted(f for f in outside if not any(f != o and f.is_relative_to(o) for o in outside))),
        " and ".join(reasons),
    )


def _program_folders() -> set[Path]:
    """Interpreter, libraries and this package itself, wherever each was installed."""
    return {Path(sys.prefix), Path(sys.base_prefix), Path(__file__).resolve().parents[2]}


def escaped(path: Path) -> str:
    """A folder as the name of a unit's instance, as `systemd-escape --path` writes it (systemd-escape(1))."""
    text = os.fsencode(path).strip(b"/")
    if not text:
        return "-"
    parts = re.split(rb"/+", text)
    return "-".join(_escaped(part, first=number == 0) for number, part in enumerate(parts))


def _escaped(part: bytes, first: bool) -> str:
    plain = "".join(chr(b) if chr(b).isascii() and (chr(b).isalnum() or b in b":_.") else f"\\x{b:02x}" for b in part)
    return f"\\x2e{plain[1:]}" if first and plain.startswith(".") else plain


def in_words(needs: ServiceNeeds) -> tuple[str, ...]:
    """What to do, step by step."""
    return (
        "to leave it running, started with the machine, as a service of systemd:",
        "  1. as administrator, once: sudo cp systemd/dawnproof@.service /etc/systemd/system/",
        *_drop_in(needs),
        f"  3. sudo systemctl enable --now '{needs.unit}'",
        f"  It runs as {needs.account}, the account the scan program writes as: only the owner of a file may ask",
        "  whether it is still being written. It may change nothing but the studio and the folders named to it. It is",
        "  started once their disks are mounted, says that it is ready when what an interruption left is finished",
        "  (Type=notify), tells the machine every few seconds that all is well (watchdog), and is started again when",
        "  it dies, or says nothing for two minutes.",
        "  Without rights on the machine: copy systemd/user/dawnproof@.service to ~/.config/systemd/user/ and say",
        f"  systemctl --user enable --now '{needs.unit}'",
        f"  loginctl enable-linger {needs.account}        # or it stops when {needs.account} logs out",
    )  # fmt: skip


def _drop_in(needs: ServiceNeeds) -> tuple[str, ...]:
    unit = [f"RequiresMountsFor={_quoted(folder)}" for folder in needs.outside]
    service = [f"User={needs.account}"] if needs.account != UNIT_USER else []
    if needs.program != UNIT_PROGRAM:
        service += ["ExecStart=", f"ExecStart={_quoted(needs.program)} watch --plain %f"]
        service += [f"BindReadOnlyPaths={_quoted(folder)}" for folder in needs.at_home]
    service += [f"BindPaths={_quoted(folder)}" for folder in needs.outside]
    service += NETWORK if needs.network else []
    service += HELPERS if "helpers" in needs.network else []
    if not unit and not service:
        return ("  2. nothing to be changed in it: account, program and folders are as the unit expects them",)
    lines = [*(["[Unit]", *unit] if unit else []), *(["[Service]", *service] if service else [])]
    why = f" (the network is for {needs.network})" if needs.network else ""
    return (f"  2. sudo systemctl edit '{needs.unit}', and write there{why}:", *(f"         {line}" for line in lines))


def _quoted(path: Path) -> str:
    """As a unit file has it: % doubled, in quotes where there is a space."""
    text = str(path).replace("\\", "\\\\").replace("%", "%%")
    return f'"{text}"' if re.search(r"\s", text) else text


def service_lines(studio: Studio, needs: ServiceNeeds) -> tuple[Line, ...]:
    """What would keep the service from working."""
    return (_manager(), _may_all_be_written(studio, needs.account), *_second_disk(studio), *_linger(needs))


def _manager() -> Line:
    if MANAGER.is_dir():
        return Line(True, "service manager", "systemd runs this machine")
    return Line(True, "service manager", "systemd does not run this machine (a container?): start `dawnproof watch "
                "--plain` by its own means, and again when it ends")  # fmt: skip


def _may_all_be_written(studio: Studio, account: str) -> Line:
    barred = [str(folder) for folder in (studio.root, *studio.roots(), studio.private)
              if folder.is_dir() and not _may_write(folder, account)]  # fmt: skip
    mend = f"; sudo chown -R {account} FOLDER, or give its group the right to write"
    return Line(not barred, "account", f"{account} may not write to {', '.join(barred)}{mend}" if barred else
                f"{account}, which the scan program writes as, may write to every folder")  # fmt: skip


def _second_disk(studio: Studio) -> tuple[Line, ...]:
    second = studio.second
    if second is None or not second.is_dir() or not studio.archive.is_dir():
        return ()
    same = second.stat().st_dev == studio.archive.stat().st_dev
    return (Line(not same, "second copy", f"{second} lies on the same disk as the archive and would be lost with it; "
                 "name a folder on another disk" if same else "on a disk of its own"),)  # fmt: skip


def _linger(needs: ServiceNeeds) -> tuple[Line, ...]:
    """Of interest only where the user unit is in use."""
    try:
        home = Path(pwd.getpwnam(needs.account).pw_dir)
    except KeyError:
        return ()
    if not (home / ".config/systemd/user/dawnproof@.service").exists():
        return ()
    stays = (LINGER / needs.account).exists()
    return (Line(stays, "user unit", f"stays when {needs.account} logs out" if stays else
                 f"stops when {needs.account} logs out: loginctl enable-linger {needs.account}"),)  # fmt: skip


def _may_write(folder: Path, account: str) -> bool:
    state = folder.stat()
    try:
        user = pwd.getpwnam(account)
    except KeyError:
        return True  # of another machine's list of accounts: nothing is known
    if user.pw_uid == 0:
        return True
    if state.st_uid == user.pw_uid:
        return bool(state.st_mode & stat.S_IWUSR)
    if state.st_gid in os.getgrouplist(account, user.pw_gid):
        return bool(state.st_mode & stat.S_IWGRP)
    return bool(state.st_mode & stat.S_IWOTH)


def _scans_owner(inbox: Path) -> int:
    if not inbox.is_dir():
        return os.getuid()
    files = [p.lstat() for p in (*inbox.glob("*.tif"), *inbox.glob("*/*.tif"))]
    return max(files, key=lambda s: s.st_mtime).st_uid if files else inbox.stat().st_uid


def _name_of(number: int) -> str:
    try:
        return pwd.getpwuid(number).pw_name
    except KeyError:
        return str(number)
