"""Carries out a filing: every step was decided and made durable before the first is taken, and each step can be taken
again. So recovery after a crash is one function: take the open filings again from the start."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

from ..errors import MoveError
from ..ledger.ledger import Ledger
from ..model import EventRow, Filing, FilingStep, Place, StepKind, shown
from ..storage.disk import failed, fsync_dir, rename_noreplace
from ..storage.moves import free_name, make_folder, move, remove_stale_parts
from ..storage.studio import CLOSED, REFERENCE, TRIALS, UNPLACED, Studio
from .reasons import write_reasons

STAGING = ".dawnproof-staging-"  # beside its final name, on the same disk
OLDER = ".dawnproof-older-"


class Filer:
    """The one place that moves scans. `now_utc` gives the time as ISO text."""

    def __init__(self, studio: Studio, ledger: Ledger, now_utc: Callable[[], str]) -> None:
        self._studio = studio
        self._ledger = ledger
        self._now_utc = now_utc

    def carry_out(self, filing: Filing) -> None:
        """Make the plan durable, take its steps, enter the result. MoveError leaves the plan open: `recover` goes on
        with it."""
        number = self._ledger.begin_filing(filing, self._now_utc())
        self._take(number, filing)

    def recover(self) -> int:
        """Finish what was begun before a crash, then clear what no plan needs. Idempotent; gives the number of
        filings that were open."""
        open_filings = self._ledger.open_filings()
        for number, filing in open_filings:
            self._take(number, filing)
        self._clear_leftovers()
        return len(open_filings)

    def retry(self) -> int:
        """Go on with filings that stopped at an error; gives how many are done now."""
        done = 0
        for number, filing in self._ledger.open_filings():
            self._take(number, filing)
            done += 1
        return done

    def _take(self, number: int, filing: Filing) -> None:
        for step in filing.steps:
            self._step(step, filing)
        self._ledger.end_filing(number, filing, self._now_utc())
        if any(s.place in {Place.UNPLACED, Place.TRIALS} for s in filing.steps):
            write_reasons(self._studio, self._ledger)

    def _step(self, step: FilingStep, filing: Filing) -> None:
        source, target = Path(step.source), Path(step.target)
        if step.kind is StepKind.MAKE_FOLDER:
            make_folder(target)
        elif step.kind is StepKind.MOVE_SCAN:
            self._move(step, source, target)
        elif step.kind is StepKind.PUT:
            _put(source, target)
        elif step.kind is StepKind.SETTLE:
            _settle(source, target)
            self._homes_settled(filing)
        elif step.kind is StepKind.SHOW:
            _show(source, target)
        elif step.kind is StepKind.CLOSE:
            _close(source, target)
        else:
            _clear(target)

    def _move(self, step: FilingStep, source: Path, target: Path) -> None:
        place = step.place or Place.ARCHIVE
        if step.final:
            # the staged folder may have settled already; the home follows when it does
            if not Path(step.final).exists():
                move(source, target, step.sha256)
            return
        move(source, target, step.sha256)
        self._ledger.moved(step.scan, place, str(target), str(source), self._now_utc())

    def _homes_settled(self, filing: Filing) -> None:
        with self._ledger.together():
            for step in filing.steps:
                if step.kind is StepKind.MOVE_SCAN and step.final:
                    self._ledger.moved(step.scan, step.place or Place.ARCHIVE, step.final, step.source, self._now_utc())

    def _clear_leftovers(self) -> None:
        """Stagings and half copies of plans that never were: their scans are still where they came from."""
        studio = self._studio
        for folder in (studio.archive, studio.proof, studio.rework):
            for entry in _entries(folder):
                if entry.name.startswith((STAGING, OLDER)) and not _holds_scans(entry, self._ledger):
                    shutil.rmtree(entry, ignore_errors=True)
        for folder in (studio.rework, studio.archive / REFERENCE, studio.rework / UNPLACED, studio.rework / TRIALS,
                       studio.rework / CLOSED):  # fmt: skip
            if folder.is_dir():
                remove_stale_parts(folder)
        shutil.rmtree(studio.bench / "work", ignore_errors=True)


def _holds_scans(folder: Path, ledger: Ledger) -> bool:
    """Never true by design; looked at all the same before anything is removed."""
    parts = folder / "data" / "parts"
    if not parts.is_dir():
        return False
    for part in _entries(parts):
        rows = [r for r in ledger.all_scans() if Path(r.home).name and r.size_bytes == part.stat().st_size]
        if any(not Path(r.home).exists() for r in rows):
            ledger.say(
                EventRow("", "alarm", "", f"{shown(str(folder))} may hold scans that are nowhere else; it is kept")
            )
            return True
    return False


def _entries(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError:
        return []


def _put(source: Path, target: Path) -> None:
    if not source.exists():
        return
    try:
        source.replace(target)
        fsync_dir(target.parent)
    except OSError as error:
        raise failed("writing", target, error) from error


def _settle(source: Path, target: Path) -> None:
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


def _show(source: Path, target: Path) -> None:
    if not source.exists():
        return
    older = target.parent / f"{OLDER}{target.name}"
    try:
        if older.exists():
            shutil.rmtree(older)
        if target.exists():
            target.rename(older)
        source.rename(target)
        fsync_dir(target.parent)
        shutil.rmtree(older, ignore_errors=True)
    except OSError as error:
        raise failed("showing", target, error) from error


def _close(source: Path, target: Path) -> None:
    if not source.exists():
        return
    make_folder(target.parent)
    try:
        rename_noreplace(source, target.parent / free_name(target.parent, target.name))
        fsync_dir(target.parent)
    except OSError as error:
        raise failed("closing", source, error) from error


def _clear(folder: Path) -> None:
    try:
        os.rmdir(folder)  # noqa: PTH106 - the call that refuses a folder with anything in it
        fsync_dir(folder.parent)
    except OSError:
        return  # gone already, or something of a person's is in it: then it stays
