"""Will the disk last the night? Said before it is full, from the rate of the evening."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from ..ledger.ledger import Ledger
from ..storage.studio import Studio
from .voice import Voice, now_utc

LOOK_S = 60.0
EVENING_H = 4.0  # the rate is that of the last hours
LEAST_H = 0.25  # a first file alone is no rate
FILED = 2  # a scan and a master of about its size


class Forecast:
    """Called by the loop; free space is compared with what the evening so far would need until the morning."""

    def __init__(
        self, studio: Studio, ledger: Ledger, voice: Voice, sound: Callable[[Path], bool] = lambda folder: True
    ) -> None:
        self._studio, self._ledger, self._voice, self._sound = studio, ledger, voice, sound
        self._look_at_s = -1e9

    def look(self, now_s: float, local: datetime) -> None:
        """One turn. OSError where a disk cannot be asked."""
        if now_s < self._look_at_s:
            return
        self._look_at_s = now_s + LOOK_S
        since = now_utc() - timedelta(hours=EVENING_H)
        octets, first = self._ledger.arrived_since(since.isoformat())
        hours = max(LEAST_H, (now_utc() - datetime.fromisoformat(first)).total_seconds() / 3600) if first else LEAST_H
        rate = FILED * octets / hours
        reserve = self._studio.book.archive.reserve_gb * 1e9
        for folder in (self._studio.archive, self._studio.second):
            if folder is None or not self._sound(folder) or not folder.is_dir():
                continue
            left_h = (shutil.disk_usage(folder).free - reserve) / rate if rate else float("inf")
            if left_h < self._until_morning_h(local):
                self._voice.alarm(f"forecast {folder}", f"at the rate of this evening {folder} is full in "
                                  f"{max(0.0, left_h):.0f} h, before the morning: make room")  # fmt: skip
            else:
                self._voice.calm(f"forecast {folder}")

    def _until_morning_h(self, local: datetime) -> float:
        hours = self._studio.book.morning.hour - local.hour - local.minute / 60
        return hours if hours > 0 else hours + 24
