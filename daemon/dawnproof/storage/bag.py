"""Bags after RFC 8493 (BagIt 1.0): the tag files of a folder whose payload lies in `data/`, and its verification.

Written here rather than by a library because payload must never be moved in place, and its digests are already known
from the moves that brought it.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

from ..errors import BrokenOff, MoveError, UsageError
from ..model import shown
from .disk import digest, failed, untold
from .moves import write_beside

DECLARATION: Final = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
MANIFEST, TAG_MANIFEST, INFO, BAGIT = "manifest-sha256.txt", "tagmanifest-sha256.txt", "bag-info.txt", "bagit.txt"
LINE: Final = re.compile(r"([0-9A-Fa-f]{64})[ \t]+\*?(.+)")
ENCODED: Final = {"%": "%25", "\r": "%0D", "\n": "%0A"}


@dataclass(frozen=True, slots=True)
class BagCheck:
    """What became of the files of a bag, by their paths in it: other bytes, not there, not listed, not readable.
    `problem` says why the bag as a whole could not be judged, '' otherwise."""

    changed: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    extra: tuple[str, ...] = ()
    unreadable: tuple[str, ...] = ()
    files: int = 0
    octets: int = 0
    problem: str = ""

    @property
    def ok(self) -> bool:
        return not (self.changed or self.missing or self.extra or self.unreadable or self.problem)


def write_tag_files(
    folder: Path,
    digests: Mapping[str, str],
    bagging_date: str,
    info: Sequence[tuple[str, str]] = (),
    coming: Mapping[str, int] | None = None,
) -> None:
    """Close a bag: write bagit.txt, bag-info.txt, the payload manifest and, last, the tag manifest.

    `digests` gives the SHA-256 of every file below `data/` by its path in the bag ('data/parts/SL-0412_L.tif');
    `bagging_date` is YYYY-MM-DD; `info` adds lines to bag-info.txt; `coming` gives the bytes of payload that a move
    brings in only afterwards. A bag is closed by its tag manifest: until then
    an interrupted attempt is written over, afterwards only the very same bag is accepted. MoveError otherwise, and
    when a listed payload file is not there.
    """
    closed = os.path.lexists(folder / TAG_MANIFEST)
    later = coming or {}
    sizes = [later[path] if path in later else _payload_size(folder, path) for path in digests]
    lines = [("Bagging-Date", bagging_date), ("Payload-Oxum", f"{sum(sizes)}.{len(sizes)}"), *info]
    texts = {
        BAGIT: DECLARATION,
        INFO: "".join(f"{label}: {_one_line(value)}\n" for label, value in lines),
        MANIFEST: _manifest(digests),
    }
    texts[TAG_MANIFEST] = _manifest({name: _sha256(text) for name, text in texts.items()})
    for name, text in texts.items():
        write_beside(folder / name, text.encode(), replace=not closed)


def verify(folder: Path, progress: Callable[[int], None] = untold) -> BagCheck:
    """Read every file of a bag and hold it against the manifests; `progress` is told the octets of every block read,
    and may raise BrokenOff.

    Complete means all listed present and none unlisted below data/; valid means the digests match as well. Nothing is
    ever repaired.
    """
    try:
        listed = read_manifest(folder / MANIFEST)
        tags = read_manifest(folder / TAG_MANIFEST)
        if (folder / BAGIT).read_bytes() != DECLARATION.encode():
            return BagCheck(problem=f"{BAGIT} in {shown(str(folder))} is not that of a BagIt 1.0 bag")
    except (OSError, UsageError) as error:
        return BagCheck(problem=f"{shown(str(folder))} cannot be read as a bag: {shown(str(error))}")
    changed, missing, unreadable, octets = [], [], [], 0
    for path, sha256 in sorted((listed | tags).items()):
        file = folder / path
        if not os.path.lexists(file):
            missing.append(path)
            continue
        try:
            found = digest(file, progress)
        except BrokenOff:
            raise
        except MoveError:
            unreadable.append(path)
            continue
        if found.sha256 != sha256:
            changed.append(path)
        octets += found.identity.size if path in listed else 0
    present = set(_payload(folder))
    extra = sorted(path for path in present if path not in listed)
    return BagCheck(tuple(changed), tuple(missing), tuple(extra), tuple(unreadable), len(present), octets)


def read_manifest(path: Path) -> dict[str, str]:
    """SHA-256 by path in the bag. UsageError for a line that is none, or a path that leaves the bag."""
    found = {}
    for number, line in enumerate(path.read_bytes().split(b"\n"), start=1):
        if not line.strip():
            continue
        match = LINE.fullmatch(os.fsdecode(line.rstrip(b"\r")))
        if match is None:
            raise UsageError(f"line {number} of {path.name} is not a digest and a path")
        name = _decoded(match[2])
        if PurePosixPath(name).is_absolute() or ".." in PurePosixPath(name).parts:
            raise UsageError(f"line {number} of {path.name} names a path outside the bag")
        found[name] = match[1].lower()
    return found


def _manifest(digests: Mapping[str, str]) -> str:
    return "".join(f"{sha256}  {_encoded(path)}\n" for path, sha256 in sorted(digests.items()))


def _encoded(path: str) -> str:
    """RFC 8493, 2.1.3: CR, LF and the percent sign itself, nothing else."""
    return re.sub(r"[%\r\n]", lambda match: ENCODED[match[0]], path)


def _decoded(path: str) -> str:
    return re.sub(r"%(25|0[AaDd])", lambda match: chr(int(match[1], 16)), path)


def _one_line(value: str) -> str:
    """Long or folded values are legal, but not every reader unfolds them."""
    return " ".join(value.split())


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _payload_size(folder: Path, path: str) -> int:
    if not path.startswith("data/"):
        raise MoveError(f"{shown(path)} does not lie below data/ and cannot be payload of a bag")
    if any(0xDC80 <= ord(character) <= 0xDCFF for character in path):
        raise MoveError(f"{shown(path)} is not a UTF-8 name, which a bag needs; rename the file")
    try:
        return (folder / path).lstat().st_size
    except OSError as error:
        raise failed("bagging", folder / path, error) from error


def _payload(folder: Path) -> Iterator[str]:
    """Paths in the bag of all that lies below data/, links and odd things included."""
    for root, folders, names in os.walk(folder / "data"):
        links = [name for name in folders if Path(root, name).is_symlink()]
        for name in (*names, *links):
            yield Path(root, name).relative_to(folder).as_posix()
