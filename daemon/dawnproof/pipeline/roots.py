"""Are the studio's folders still the folders they were? An unmounted disk leaves an empty folder at the same name; what
was written there would be hidden once the disk is back, so nothing is."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from ..errors import MoveError
from ..ledger.ledger import Ledger
from ..model import RootRow, shown
from ..storage.studio import Studio


@dataclass(frozen=True, slots=True)
class RootProblem:
    """A folder that is not the one it was, in words."""

    root: Path
    text: str


class Roots:
    """The folders of one studio while one daemon runs. Recorded in the ledger, so that a disk that is missing at the
    next start is noticed too."""

    def __init__(self, studio: Studio, ledger: Ledger) -> None:
        self._studio = studio
        self._ledger = ledger
        self._known: dict[Path, RootRow] = {}
        self._problems: dict[Path, str] = {}

    def begin(self) -> None:
        """Take the folders as they are, but for one whose disk is missing."""
        recorded = self._ledger.roots()
        for root in self._watched():
            now, before = self._look(root), recorded.get(str(root))
            if now is None:
                self._problems[root] = _not_there(root)
            elif before is not None and before.own_disk and not now.own_disk and not self._moved_back(root):
                self._known[root] = before
                self._problems[root] = _unmounted(root)
            else:
                self._accept(root, now)

    def problems(self) -> tuple[RootProblem, ...]:
        """Look at every folder again; a few stat calls, made at every turn."""
        for root in self._watched():
            self._problems.pop(root, None)
            if problem := self._problem_of(root):
                self._problems[root] = problem
        return tuple(RootProblem(root, text) for root, text in self._problems.items())

    def check(self, path: Path) -> None:
        """MoveError when the folder this path lies in is not the one it was; looked at afresh."""
        for root in self._watched():
            if path.is_relative_to(root) and (problem := self._problem_of(root)):
                raise MoveError(problem)

    def sound(self, root: Path) -> bool:
        """Whether nothing was wrong with a folder, and the one it lies in, at the last look."""
        return not any(root.is_relative_to(bad) for bad in self._problems)

    def _watched(self) -> tuple[Path, ...]:
        studio = self._studio
        beds = tuple(studio.inbox / bed.name for bed in studio.book.beds)
        return (*studio.roots(), *(b for b in beds if b in self._known or _lies_elsewhere(b, studio.inbox)))

    def _problem_of(self, root: Path) -> str:
        now, before = self._look(root), self._known.get(root)
        if now is None:
            return _not_there(root)
        if before is None or (now.dev, now.ino) == (before.dev, before.ino):
            if before is None:
                self._accept(root, now)
            return ""
        if before.own_disk and not now.own_disk:
            return _unmounted(root)
        if now.own_disk and not before.own_disk:
            return (f"something else was mounted over {shown(str(root))}; unmount it, or start the daemon again if it "
                    "is meant")  # fmt: skip
        keeps = root in (self._studio.archive, self._studio.rework)
        if keeps and not self._holds_its_scans(root):
            return (f"{shown(str(root))} is another folder than it was, and none of the scans filed there is in it; "
                    "put the right one back, or start the daemon again if it is meant")  # fmt: skip
        self._accept(root, now)
        return ""

    def _look(self, root: Path) -> RootRow | None:
        try:
            state = root.stat()
            if not root.is_dir():
                return None
            own = state.st_dev != self._studio.private.stat().st_dev
        except OSError:
            return None
        return RootRow(str(root), state.st_dev, state.st_ino, own)

    def _holds_its_scans(self, root: Path) -> bool:
        """Some scan whose home is there is really there, or none is expected."""
        homes = self._ledger.homes_below(root)
        return not homes or any(os.path.lexists(home) for home in homes)

    def _moved_back(self, root: Path) -> bool:
        """A person brought what lay on a disk of its own back here."""
        return any(os.path.lexists(home) for home in self._ledger.homes_below(root))

    def _accept(self, root: Path, now: RootRow) -> None:
        if self._known.get(root) != now:
            self._ledger.put_root(now)
            self._known[root] = now


def _lies_elsewhere(bed: Path, inbox: Path) -> bool:
    try:
        return bed.stat().st_dev != inbox.stat().st_dev
    except OSError:
        return False


def _not_there(root: Path) -> str:
    return f"{shown(str(root))} is gone; mount its disk, or make the folder again"


def _unmounted(root: Path) -> str:
    return f"{shown(str(root))} is an empty place: its disk is not mounted; mount it, and all goes on"
