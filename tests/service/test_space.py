"""Low space is said before it is reached: what came this evening, twice over, until the morning."""

from __future__ import annotations

from collections import namedtuple
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from small_studio import make_studio

from dawnproof.ledger.ledger import Ledger
from dawnproof.service.space import LOOK_S, Forecast
from dawnproof.service.voice import Voice, now_utc
from dawnproof.storage.studio import make_folders, open_studio

GB = 10**9
TEN_IN_THE_EVENING = datetime(2026, 11, 24, 22, 0)  # eight hours before the morning's
Usage = namedtuple("Usage", "total used free")


class Evening:
    """What the ledger says came, and what the disk has left."""

    def __init__(self, root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (make_studio(root) / "dawnproof.toml").write_text('based_on = "fine-art"\n[archive]\nreserve_gb = 10.0\n')
        self.studio = open_studio(root)
        make_folders(self.studio)
        self.ledger = Ledger.open(self.studio.ledger_path)
        self.voice = Voice(self.ledger, lambda event: None)
        self.asked: list[Path] = []
        self.free_gb, self.came_gb, self.hours = 1000.0, 0.0, 2.0
        monkeypatch.setattr("shutil.disk_usage", self._usage)
        monkeypatch.setattr(self.ledger, "arrived_since", self._arrived)

    def _usage(self, folder: Path) -> Usage:
        self.asked.append(folder)
        return Usage(0, 0, self.free_gb * GB)

    def _arrived(self, since_utc: str) -> tuple[int, str]:
        first = now_utc() - timedelta(hours=self.hours)
        return (int(self.came_gb * GB), first.isoformat()) if self.came_gb else (0, "")

    def alarm(self, forecast: Forecast, now_s: float = 0.0) -> str:
        forecast.look(now_s, TEN_IN_THE_EVENING)
        return "\n".join(self.voice.alarms)


@pytest.fixture
def evening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Evening:
    return Evening(tmp_path / "prints", monkeypatch)


def forecast_of(evening: Evening, **options: Any) -> Forecast:
    return Forecast(evening.studio, evening.ledger, evening.voice, **options)


@pytest.mark.parametrize(
    ("free_gb", "came_gb", "hours", "said"),
    [
        (1000, 10, 2, ""),  # 10 GB in 2 h: scan and master, 10 GB an hour, 80 GB until six
        (91, 10, 2, ""),  # and 10 GB that are never used up
        (80, 10, 2, "full in 7 h"),
        (12, 10, 2, "full in 0 h"),
        (5, 10, 2, "full in 0 h"),  # less than the reserve: not 'in -1 h'
        (30, 0, 2, ""),  # nothing came
        (60, 2, 0.01, "full in 3 h"),  # a first file alone is a quarter of an hour's
    ],
)
def test_the_rate_of_the_evening_until_the_morning(
    free_gb: float, came_gb: float, hours: float, said: str, evening: Evening
) -> None:
    evening.free_gb, evening.came_gb, evening.hours = free_gb, came_gb, hours
    alarm = evening.alarm(forecast_of(evening))
    assert (said in alarm and "make room" in alarm) if said else not alarm


def test_it_is_over_when_there_is_room_and_looked_at_now_and_then(evening: Evening) -> None:
    evening.free_gb, evening.came_gb = 20, 10
    forecast = forecast_of(evening)
    assert evening.alarm(forecast)
    evening.free_gb = 500
    assert evening.alarm(forecast, LOOK_S - 1), "not looked at again yet"
    assert not evening.alarm(forecast, LOOK_S + 1)
    assert len(evening.asked) == 2


def test_a_folder_that_does_not_answer_is_not_asked(evening: Evening) -> None:
    evening.came_gb = 10
    evening.alarm(forecast_of(evening, sound=lambda folder: folder != evening.studio.archive))
    assert evening.asked == []
