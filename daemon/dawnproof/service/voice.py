"""What the daemon says: lines of the night, and alarms that stand until they are mended."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from datetime import UTC, datetime

from ..errors import LedgerError
from ..ledger.ledger import Ledger
from ..model import EventRow

log = logging.getLogger("dawnproof")


def now_utc() -> datetime:
    """The time of day, for records; durations use the monotonic clock."""
    return datetime.now(UTC)


class Voice:
    """Says each thing once, to the ledger and to whoever listens; neither may stop the daemon."""

    def __init__(self, ledger: Ledger, on_event: Callable[[EventRow], None]) -> None:
        self._ledger = ledger
        self._on_event = on_event
        self._alarms: dict[str, str] = {}

    @property
    def alarms(self) -> tuple[str, ...]:
        """What is wrong now, oldest first."""
        return tuple(self._alarms.values())

    @property
    def standing(self) -> Mapping[str, str]:
        """What is wrong now, in words by key."""
        return dict(self._alarms)

    def say(self, kind: str, job: str, text: str) -> None:
        """One line of the night."""
        self.tell(EventRow(now_utc().isoformat(), kind, job, text))

    def alarm(self, key: str, text: str) -> None:
        """Something is wrong until `calm` is called with the same key; said when it begins or changes."""
        if self._alarms.get(key) != text:
            self._alarms[key] = text
            self.say("alarm", "", text)

    def calm(self, key: str) -> None:
        """It is as it should be."""
        if (text := self._alarms.pop(key, None)) is not None:
            self.say("mended", "", f"mended: {text}")

    def calm_all(self, beginning: str, but: frozenset[str] = frozenset()) -> None:
        """All alarms whose key begins so are over, `but` these."""
        for key in [k for k in tuple(self._alarms) if k.startswith(beginning) and k not in but]:
            self.calm(key)

    def tell(self, event: EventRow) -> None:
        """Pass on a line."""
        try:
            self._on_event(event)
        except OSError as error:  # a closed pipe or terminal
            log.debug("the line could not be shown: %s", error)
        try:
            self._ledger.say(event)
        except LedgerError as error:
            log.error("%s: %s", error, event.text)
