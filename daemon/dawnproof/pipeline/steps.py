"""The steps of a filing that move no scan: each can be taken again, whatever an interruption left."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Collection
from pathlib import Path

from ..errors import MoveError
from ..ledger.ledger import Ledger
from ..model import EventRow, shown
from ..storage.disk import failed, fsync_dir, rename_noreplace
from ..storage.free_names import free_name
from ..storage.moves import make_folder, remove_stale_parts, write_beside
from ..storage.names import mark_of
from ..storage.studio import Studio

STAGING = ".dawnproof-staging-"  # beside its final name, on the same disk
OLDER = ".dawnproof-older-"


def put(source: Path, target: Path) -> None:
    """A derived file takes its place, replacing an older one; also from another disk."""
    if not source.exists():
        return
    try:
        source.replace(target)
        fsync_dir(target.parent)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise failed("writing", target, error) from error
        _put_across(source, target)


def settle(source: Path, target: Path) -> None:
    """A staged folder gets its final name, never over another."""
    if not source.exists():
        if target.is_dir():
            return
        raise MoveError(f"{shown(str(target))} is missing and its staging too; look for it, then run verify")
    try:
        rename_noreplace(source, target)
        fsync_dir(target.parent)
    except FileExistsError:
        raise MoveError(f"{shown(str(target))} stands already and was not made by this filing; it is kept; "
                        "rename or move it away, then the filing goes on") from None  # fmt: skip
    except OSError as error:
        raise failed("naming", target, error) from error


def show(source: Path, target: Path) -> None:
    """A staged folder of derived pictures takes the place of the older one; also from another disk."""
    if not source.exists():
        return
    older = target.parent / f"{OLDER}{target.name}"
    try:
        if older.exists():
            shutil.rmtree(older)
        staged = _beside(source, target)
        if target.exists():
            target.rename(older)
        staged.rename(target)
        fsync_dir(target.parent)
        for rest in (older, source):
            shutil.rmtree(rest, ignore_errors=True)
    except OSError as error:
        raise failed("showing", target, error) from error


def close(source: Path, target: Path) -> None:
    """Note or record of a job made good goes to the closed folder, under a free name."""
    if not source.exists():
        return
    make_folder(target.parent)
    try:
        rename_noreplace(source, target.parent / free_name(target.parent, target.name))
        fsync_dir(target.parent)
    except OSError as error:
        raise failed("closing", source, error) from error


def clear(folder: Path) -> None:
    """An empty folder disappears; one with something of a person's in it stays."""
    try:
        os.rmdir(folder)  # noqa: PTH106 - the call that refuses a folder with anything in it
        fsync_dir(folder.parent)
    except OSError:
        return


def discard(staging: Path, ledger: Ledger) -> bool:
    """Remove the staged folder of an attempt that came to nothing. Kept, and said, where it may hold a scan that is
    nowhere else: never so by design, looked at all the same before anything is removed."""
    parts = staging / "data" / "parts"
    for part in _entries(parts):
        rows = ledger.scans_of_size(part.lstat().st_size)
        if any(not os.path.lexists(row.home) for row in rows):
            text = f"{shown(str(staging))} may hold scans that are nowhere else; it is kept, look into it"
            ledger.say_once(EventRow("", "alarm", "", text))
            return False
    shutil.rmtree(staging, ignore_errors=True)
    return True


def clear_leftovers(studio: Studio, ledger: Ledger, busy: Collection[str]) -> None:
    """Stagings and half copies of plans that never were: their scans are still where they came from. Those of busy
    jobs, whose plan is open, stay."""
    own = mark_of(studio)  # in a shared archive another studio's stagings are none of ours
    kept = {f"{mark}{own}{job}" for job in busy for mark in (STAGING, OLDER)}
    for folder in (studio.archive, studio.proof, studio.rework, studio.bench / "pictures"):
        for entry in _entries(folder):
            if entry.name.startswith((f"{STAGING}{own}", OLDER)) and entry.name not in kept:
                discard(entry, ledger)
    for folder in _folders_of_copies(studio):
        if folder.is_dir() and not busy:
            remove_stale_parts(folder)
    shutil.rmtree(studio.bench / "work", ignore_errors=True)


def _folders_of_copies(studio: Studio) -> tuple[Path, ...]:
    beds = tuple(p for p in _entries(studio.reference) if p.is_dir())
    jobs = tuple(p for p in (*_entries(studio.rework), *_entries(studio.closed)) if p.is_dir() and not p.is_symlink())
    return (studio.inbox, studio.rework, studio.reference, studio.morning, *beds, *jobs)


def _entries(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError:
        return []


def _put_across(source: Path, target: Path) -> None:
    try:
        write_beside(target, source.read_bytes(), replace=True)
        source.unlink()
    except OSError as error:
        raise failed("writing", target, error) from error


def _beside(source: Path, target: Path) -> Path:
    """The staged folder on the disk of its target: itself, or a fresh copy."""
    if source.stat().st_dev == target.parent.stat().st_dev:
        return source
    copied = target.parent / f"{STAGING}{target.name}"
    shutil.rmtree(copied, ignore_errors=True)
    shutil.copytree(source, copied)
    return copied
