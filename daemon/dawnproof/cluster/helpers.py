"""The computers that help: which are there, which speak, which are fit for a task, and what is said of them, once."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from dataclasses import dataclass

from .errand import News
from .link import Helper, Look

UNFIT_S = 300.0  # then it is asked again: somebody may have mended it


@dataclass(frozen=True, slots=True)
class _Unfit:
    name: str
    until_s: float


class Helpers:
    """Kept by the engine's thread; `say` takes news for the daemon."""

    def __init__(self, silence_s: float, say: Callable[[News], None]) -> None:
        self._silence_s, self._tell = silence_s, say
        self._known: dict[str, Helper] = {}
        self._names: dict[str, str] = {}  # of those that are gone too
        self._signs: dict[str, tuple[float, float]] = {}  # address: the last sign of life, and when it was first seen
        self._unfit: dict[str, _Unfit] = {}
        self._standing: dict[str, str] = {}

    def see(self, look: Look, now: float) -> None:
        """Take note of what the scheduler said."""
        self._known = dict(look.helpers)
        self._names |= {address: helper.name for address, helper in look.helpers.items()}
        for address, helper in self._known.items():
            if self._signs.get(address, (None,))[0] != helper.seen:
                self._signs[address] = (helper.seen, now)
        for address in self._signs.keys() - self._known.keys():
            del self._signs[address]
        for address in self._unfit.keys() - self._known.keys():
            self.praise(address)
        if self._known:
            self.say("nobody", "", over=True)

    def clear(self) -> None:
        """The scheduler is away; so is what it said."""
        self._known, self._signs = {}, {}

    def places(self) -> int:
        """Tasks all of them can run at the same time."""
        return sum(h.places for a, h in self._known.items() if a not in self._unfit)

    def name(self, address: str) -> str:
        """What a person calls the computer at this address."""
        return self._names.get(address, address)

    def is_gone(self, address: str) -> bool:
        """Whether the scheduler knows it no more."""
        return address not in self._known

    def is_silent(self, address: str, now: float) -> bool:
        """Whether it has given no sign of life for too long, or is gone."""
        return address not in self._signs or now - self._signs[address][1] > self._silence_s

    def fit_for(self, needs_mb: int, avoid: Collection[str], now: float) -> list[str]:
        """Addresses of those that have the memory, speak, and were not found unfit or to be avoided."""
        return [
            address for address, helper in self._known.items()
            if helper.memory_mb >= needs_mb and address not in avoid and not self.is_silent(address, now)
            and (address not in self._unfit or self._unfit[address].until_s <= now)
        ]  # fmt: skip

    def dismiss(self, address: str, name: str, reason: str) -> None:
        """It cannot do the studio's work; it is asked again after a while."""
        known = address in self._unfit
        self._unfit[address] = _Unfit(name, time.monotonic() + UNFIT_S)
        if not known:  # the next file would only say the same of another path
            self.say(f"helper {name}", f"{name} is worked without: {reason}")

    def praise(self, address: str) -> None:
        """It did a task as it should, or is gone: whatever was wrong with it is over."""
        unfit = self._unfit.pop(address, None)
        if unfit is not None:
            self.say(f"helper {unfit.name}", "", over=True)

    def say_why_here(self, subject: str, needs_mb: int, tries: int) -> None:
        """Why a task is done on the studio's own machine after all."""
        if not self._known:
            self.say("nobody", "no other computer has come to the scheduler; all work is done here meanwhile")
        elif tries:
            self.say_line(f"{subject} was tried elsewhere {tries} time(s); it is done here")
        elif all(h.memory_mb < needs_mb for h in self._known.values()):
            self.say_line(f"{subject} wants {needs_mb} MB, which no other computer offers; it is done here")

    def say_line(self, text: str) -> None:
        """One line of the night."""
        self._tell(News("", text))

    def say(self, key: str, text: str, over: bool = False) -> None:
        """An alarm begins, changes or is over; each is told once."""
        if over:
            if self._standing.pop(key, None) is not None:
                self._tell(News(key, "", over=True))
        elif self._standing.get(key) != text:
            self._standing[key] = text
            self._tell(News(key, text))
