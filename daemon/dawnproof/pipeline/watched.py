"""The night as a screen wants it: gathered anew only when the ledger holds something new or a minute has passed, and
never so often that gathering takes more than a small share of the time, however many jobs there are."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from ..ledger.ledger import Ledger
from ..model import Night, Progress
from ..storage.studio import Studio
from .night import gather_night

SHOWN_H = 12.0  # before the screen was begun
AGAIN_S = 60.0  # clocks, waiting times and room go on by themselves
SHARE = 0.01  # of the time, at most, for gathering while nothing but time goes on
BUSY_SHARE = 0.1  # the same while something is new


class WatchedNight:
    """One screen's view of a studio."""

    def __init__(self, studio: Studio, ledger: Ledger, begun: datetime,
                 clock_s: Callable[[], float] = time.monotonic) -> None:  # fmt: skip
        self._studio, self._ledger, self._clock_s = studio, ledger, clock_s
        self._since = (begun - timedelta(hours=SHOWN_H)).astimezone(UTC)
        self._night: Night | None = None
        self._mark: object = None
        self._gathered_s = self._took_s = 0.0

    def now(self, at: datetime, progress: Sequence[Progress] = (), alarms: Sequence[str] = (),
            disks: bool = True) -> Night:  # fmt: skip
        """The night at this moment; the same object as before where nothing a screen shows has changed."""
        if self._night is None or self._is_due(disks):
            begun_s = self._clock_s()
            self._mark = self._seen(disks)
            self._night = gather_night(self._studio, self._ledger, self._since, at.astimezone(UTC), progress, alarms,
                                       disks)  # fmt: skip
            self._gathered_s = self._clock_s()
            self._took_s = self._gathered_s - begun_s
        elif (self._night.progress, self._night.alarms) != (tuple(progress), tuple(alarms)):
            self._night = replace(self._night, progress=tuple(progress), alarms=tuple(alarms))
        return self._night

    def _is_due(self, disks: bool) -> bool:
        age_s = self._clock_s() - self._gathered_s
        if age_s >= max(AGAIN_S, self._took_s / SHARE):
            return True
        return age_s >= self._took_s / BUSY_SHARE and self._mark != self._seen(disks)

    def _seen(self, disks: bool) -> object:
        return self._ledger.state_mark(), disks
