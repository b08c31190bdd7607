"""Job names in an archive that several studios share: the first studio that takes one keeps it, for good. A name is one
small file, made under a name of the studio's own and renamed without ever replacing: of two daemons at the same moment
one gets it, and a crash leaves it taken or free, never half."""

from __future__ import annotations

import os
import secrets
import socket
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from ..errors import EnvironmentFault
from ..naming import job_key
from .disk import failed, fsync_dir, rename_noreplace
from .studio import Studio

NAMES = ".dawnproof-names"
STUDIO_ID = "studio-id"


@dataclass(frozen=True, slots=True)
class Owner:
    """The studio a name belongs to: a word drawn once, and where it is for people."""

    id: str
    words: str


def mark_of(studio: Studio) -> str:
    """What sets this studio's stagings in a shared archive apart from another's; '' where it has its archive alone."""
    return f"{owner_of(studio).id[:8]}-" if studio.book.archive.shared else ""


def take_name(studio: Studio, job: str) -> Owner | None:
    """Take a job's name for this studio; the other owner where it is taken already. MoveError where that cannot be
    told. An archive of the studio's own has no such names."""
    if not studio.book.archive.shared:
        return None
    mine = owner_of(studio)
    place = _place(studio, job)
    try:
        if (found := _read(place)) is None:
            _make_folder(place.parent)
            found = mine if _claim(place, mine) else _read(place)
    except OSError as error:
        raise failed("taking the name", place, error) from error
    return None if found is None or found.id == mine.id else found


def is_own(studio: Studio, job: str) -> bool:
    """Whether a bag of this job in the archive is this studio's."""
    if not studio.book.archive.shared:
        return True
    found = _read(_place(studio, job))
    return found is not None and found.id == owner_of(studio).id


def check_archive(studio: Studio) -> None:
    """EnvironmentFault where others share the archive and this studio's book does not say so."""
    if not studio.book.archive.shared and (studio.archive / NAMES).is_dir():
        raise EnvironmentFault(f"{studio.archive} is shared with another studio: write [archive] shared = true in "
                               "dawnproof.toml, or give this studio an archive folder of its own")  # fmt: skip


def owner_of(studio: Studio) -> Owner:
    """This studio, by a word drawn once and kept beside its ledger."""
    place = studio.private / STUDIO_ID
    words = f"{studio.root} on {socket.gethostname()}"
    try:
        if (found := _read(place)) is None:
            found = Owner(secrets.token_hex(16), words)
            found = found if _claim(place, found) else _read(place)
    except OSError as error:
        raise failed("naming the studio in", place, error) from error
    return Owner(found.id if found else "", words)


def _place(studio: Studio, job: str) -> Path:
    return studio.archive / NAMES / quote(job_key(job), safe=" ")


def _make_folder(folder: Path) -> None:
    if not folder.is_dir():
        folder.mkdir(exist_ok=True)
        fsync_dir(folder.parent)


def _claim(place: Path, owner: Owner) -> bool:
    hidden = place.parent / f".{owner.id}"
    with hidden.open("wb") as file:
        file.write(f"{owner.id}\n{owner.words}\n".encode("utf-8", "surrogateescape"))
        file.flush()
        os.fsync(file.fileno())
    try:
        rename_noreplace(hidden, place)
        fsync_dir(place.parent)
    except FileExistsError:
        hidden.unlink(missing_ok=True)
        return False
    return True


def _read(place: Path) -> Owner | None:
    try:
        lines = place.read_bytes().decode("utf-8", "surrogateescape").splitlines()
    except FileNotFoundError:
        return None
    return Owner(lines[0] if lines else "", lines[1] if len(lines) > 1 else "somebody who left no name")
