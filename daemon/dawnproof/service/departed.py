"""Scans that wait in the inbox by the ledger, and that a person took away."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from ..ledger.ledger import Ledger
from ..model import Place
from ..pipeline.roots import Roots
from .voice import Voice, now_utc


class Departed:
    """Looks for them where the folders are what they were."""

    def __init__(self, inbox: Path, ledger: Ledger, roots: Roots, voice: Voice) -> None:
        self._inbox, self._ledger, self._roots, self._voice = inbox, ledger, roots, voice

    def look(self, moving: Callable[[], frozenset[int]]) -> None:
        """A scan that was taken out of the inbox is said and no longer counted; `moving` gives those a filing moves."""
        homes = [(w, Path(w.home)) for w in self._ledger.waiting_scans()]
        missing = [(w, home) for w, home in homes if self._may_be_believed(home) and not home.exists()]
        if not missing:
            return
        under_way = moving()
        for waiting, home in missing:
            if waiting.id in under_way or home.exists():
                continue
            self._ledger.moved(waiting.id, Place.GONE, waiting.home, waiting.home, now_utc().isoformat())
            text = f"{waiting.file} was taken out of the inbox before its job had an outcome"
            self._voice.say("gone", waiting.job, text)

    def _may_be_believed(self, home: Path) -> bool:
        """An empty place is no proof that a person took the scan, where the folder itself is not what it was."""
        return self._roots.sound(home.parent) and self._roots.sound(self._inbox)
