import io
from dataclasses import replace

import pytest
from report.nights import HOSTILE, empty_night, evening, good_night, hostile_night, many_jobs, saltmarsh_lane
from rich.console import Console

from dawnproof.model import EventRow, Night
from dawnproof.report.dashboard import dashboard, event_line

NIGHTS = {
    "evening": evening(),
    "morning": saltmarsh_lane(),
    "good": good_night(),
    "empty": empty_night(),
    "hostile": hostile_night(),
    "long": many_jobs(60),
}


def screen(night: Night, width: int, height: int) -> list[str]:
    console = Console(width=width, height=height, file=io.StringIO(), record=True, color_system=None)
    console.print(dashboard(night, width, height), end="")
    return console.export_text().splitlines()


@pytest.mark.parametrize("size", [(80, 24), (200, 60), (140, 40), (60, 15), (100, 8)], ids=str)
@pytest.mark.parametrize("name", NIGHTS)
def test_it_fills_the_terminal_exactly(name: str, size: tuple[int, int]) -> None:
    rows = dashboard(NIGHTS[name], *size).split("\n")
    assert len(rows) == size[1]
    assert all(row.cell_len <= size[0] for row in rows)


def test_the_same_night_gives_the_same_screen() -> None:
    assert dashboard(evening(), 80, 24).plain == dashboard(evening(), 80, 24).plain


def test_alarms_stand_on_top() -> None:
    rows = screen(evening(), 80, 24)
    assert rows[0].startswith(" !! ALARM !! the archive's second folder /mirror cannot be written")
    assert dashboard(evening(), 80, 24).spans[0].style == "bold reverse"


def test_at_80_by_24_everything_that_matters_is_seen() -> None:
    text = "\n".join(screen(evening(), 80, 24))
    for words in (
        "SL-0422_T.tif: arriving, leave it",
        "before: SL-0419 R: nothing found, lift it",
        "62 %, 19 s left",
        "▐L■│R·▌ waits for part R until Wed 17:15",
        "x3 again",
        "doubling 6 px at 210 mm",
        "bed-b     scanning",
        "archive 61 h left",
        "never seen yet: SL-0420",
    ):
        assert words in text


@pytest.mark.parametrize("size", [(80, 30), (140, 40)], ids=str)
def test_what_happened_on_other_computers_is_said(size: tuple[int, int]) -> None:
    night = evening()
    gone = EventRow(night.until_utc, "cluster", "", "annex went away in the middle of SL-0422; it is done here")
    assert "annex went away" not in "\n".join(screen(night, *size))
    rows = screen(replace(night, events=(*night.events, gone)), *size)
    assert any("helpers" in row and "annex went away" in row for row in rows)


def test_at_200_by_60_every_judged_job_is_seen() -> None:
    text = "\n".join(screen(evening(), 200, 60))
    for view in evening().jobs:
        assert view.row.job in text
    assert "600 x 420 mm on bed-a" in text


def test_the_last_work_is_judged_in_one_line() -> None:
    assert any("SL-0417 whole: nothing found, lift it" in row for row in screen(saltmarsh_lane(), 80, 24))


def test_the_night_lies_along_the_travel() -> None:
    strip = next(row for row in screen(evening(), 80, 24) if row.startswith(" bed-a"))
    assert strip.index("┃") < strip.index("·") if "┃" in strip else strip.index("□·")
    assert set("■?x") <= set(strip)


def test_colours_carry_nothing() -> None:
    styles = {str(span.style) for span in dashboard(evening(), 200, 60).spans}
    assert styles <= {"bold", "bold reverse", ""}


@pytest.mark.parametrize("size", [(80, 24), (200, 60)], ids=str)
def test_hostile_names_do_not_steer_the_terminal(size: tuple[int, int]) -> None:
    console = Console(width=size[0], height=size[1], file=io.StringIO(), force_terminal=True, color_system="truecolor")
    console.print(dashboard(hostile_night(), *size), end="")
    out = console.file.getvalue()  # type: ignore[attr-defined]
    assert "\x1b[2J" not in out
    assert "\u202e" not in out
    assert "[bold]x" in out
    assert out.count("\n") <= size[1]


def test_an_event_is_one_harmless_line() -> None:
    event = EventRow("2026-11-24T21:04:00.123+00:00", "measured", "SL-0401", "SL-0401_L.tif: L measured")
    assert event_line(event) == "2026-11-24T21:04:00Z measured: SL-0401_L.tif: L measured"
    assert event_line(EventRow("2026-11-24T21:04:00+00:00", "alarm", "SL-0401", "disk full")) == (
        "2026-11-24T21:04:00Z alarm: SL-0401: disk full"
    )
    hostile = event_line(EventRow(HOSTILE, HOSTILE, HOSTILE, HOSTILE))
    assert len(hostile.splitlines()) == 1
    assert "\x1b" not in hostile
