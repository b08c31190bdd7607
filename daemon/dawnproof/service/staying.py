"""Files that stay where they are: links, pipes, unreadable ones, those left alone by rule; entered together."""

from __future__ import annotations

from collections.abc import Collection, Container
from pathlib import Path

from ..ledger.ledger import Ledger
from ..model import StayingRow
from .voice import Voice, now_utc

MOST_SAID = 20  # files of a flood that are named line by line


class Staying:
    """What the ledger knows of them; `reasons_due` tells that REASONS.txt no longer says the same."""

    def __init__(self, ledger: Ledger, voice: Voice) -> None:
        self._ledger, self._voice = ledger, voice
        self._known: dict[str, StayingRow] = {r.path: r for r in ledger.staying()}
        self._to_enter: list[tuple[StayingRow, bool]] = []
        self.reasons_due = True

    def stay(self, row: StayingRow) -> None:
        """A file stays where it is."""
        if self._known.get(row.path) != row:
            self._to_enter.append((row, row.path not in self._known))
            self._known[row.path] = row
            self.reasons_due = self.reasons_due or row.kind != "left alone"

    def enter(self) -> None:
        """Make durable and say what was found since the last time; a flood in one line more."""
        if not self._to_enter:
            return
        when = now_utc().isoformat()
        with self._ledger.together():
            for row, new in self._to_enter:
                if not new:
                    self._ledger.no_longer_stays(row.path)
                self._ledger.stays(row, when)
        fresh = [row for row, new in self._to_enter if new]
        self._to_enter.clear()
        for row in fresh[:MOST_SAID]:
            self._voice.say("stays", "", f"{row.file} stays where it is: {row.reason}")
        if len(fresh) > MOST_SAID:
            self._voice.say(
                "stays", "", f"{len(fresh) - MOST_SAID} more files stay where they are; the ledger names them"
            )

    def forget(
        self, inbox: Path, present: Container[Path], troubles: Container[str], away: Collection[Path] = ()
    ) -> None:
        """Those a person took out of the inbox; what lies in folders that are `away` nobody knows."""
        below = f"{inbox}/"
        for name in [p for p in self._known if p.startswith(below) and Path(p) not in present and p not in troubles]:
            if not any(Path(name).is_relative_to(folder) for folder in away):
                self.no_longer(name)

    def no_longer(self, path: str) -> None:
        """The file has gone, or has become a scan."""
        if self._known.pop(path, None) is not None:
            self._ledger.no_longer_stays(path)
            self.reasons_due = True
