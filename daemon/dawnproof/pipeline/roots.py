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
from ..watch.reach import Answer, Reach


@dataclass(frozen=True, slots=True)
class RootProblem:
    """A folder that is not the one it was, in words."""

    root: Path
    text: str


class Roots:
    """The folders of one studio while one daemon runs. Recorded in the ledger, so that a disk that is missing at the
    next start is noticed too. Each is looked at in a thread of its own: one that hangs holds up no other."""

    def __init__(self, studio: Studio, ledger: Ledger) -> None:
        self._studio = studio
        self._ledger = ledger
        self._reach: Reach[RootRow] = Reach(self._look)
        self._beds = tuple(studio.inbox / bed.name for bed in studio.book.beds)
        self._known: dict[Path, RootRow] = {}
        self._problems: dict[Path, str] = {}

    def begin(self) -> None:
        """Take the folders as they are, but for one whose disk is missing."""
        recorded = self._ledger.roots()
        for root, answer in self._look_at_all().items():
            now, before = answer.found, recorded.get(str(root))
            away = before is not None and before.own_disk and not (now and now.own_disk)
            if before is not None and away and not (answer.answers and self._moved_back(root)):
                self._known[root] = before
            if not answer.answers:
                self._problems[root] = _silent(root)
            elif now is None:
                self._problems[root] = _not_there(root)
            elif root in self._known:
                self._problems[root] = _unmounted(root)
            else:
                self._accept(root, now)

    def problems(self) -> tuple[RootProblem, ...]:
        """Look at every folder again; a few stat calls, made at every turn."""
        found = {root: self._problem_of(root, answer) for root, answer in self._look_at_all().items()}
        self._problems = {root: problem for root, problem in found.items() if problem}
        return tuple(RootProblem(root, text) for root, text in self._problems.items())

    def check(self, path: Path) -> None:
        """MoveError when the folder this path lies in is not the one it was; looked at afresh."""
        for root in (*self._studio.roots(), *self._beds):
            watched = root in self._known or root not in self._beds
            if watched and path.is_relative_to(root) and (problem := self._problem_of(root, self._reach.look(root))):
                raise MoveError(problem)

    def sound(self, root: Path) -> bool:
        """Whether nothing was wrong with a folder, and the one it lies in, at the last look."""
        return not any(root.is_relative_to(bad) for bad in self._problems)

    def unsound_in(self, folder: Path) -> frozenset[Path]:
        """Folders below this one with which something was wrong at the last look: a bed on a disk of its own."""
        return frozenset(bad for bad in self._problems if bad != folder and bad.is_relative_to(folder))

    def end(self) -> None:
        """No more looks."""
        self._reach.close()

    def _look_at_all(self) -> dict[Path, Answer[RootRow]]:
        """The folders that are watched: those of the studio, and beds on a disk of their own."""
        found = self._reach.look_at_all((*self._studio.roots(), *self._beds))
        inbox = found[self._studio.inbox].found
        for bed in self._beds:
            row = found[bed].found
            elsewhere = row is not None and inbox is not None and row.dev != inbox.dev
            if found[bed].answers and not elsewhere and bed not in self._known:
                del found[bed]
        return found

    def _problem_of(self, root: Path, answer: Answer[RootRow]) -> str:
        now, before = answer.found, self._known.get(root)
        if not answer.answers:
            return _silent(root)
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
            os.statvfs(root)  # goes to the server of a share, where the line above may be answered from memory
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


def _not_there(root: Path) -> str:
    return f"{shown(str(root))} is gone; mount its disk, or make the folder again"


def _silent(root: Path) -> str:
    return (f"{shown(str(root))} does not answer: its disk or share hangs; look at its cable, server or health; the "
            "other folders go on")  # fmt: skip


def _unmounted(root: Path) -> str:
    return f"{shown(str(root))} is an empty place: its disk is not mounted; mount it, and all goes on"
