from datetime import date

import pytest

from dawnproof.report.figures import (
    clock,
    clock_near,
    counted,
    day_and_clock,
    due_words,
    listing,
    reach,
    size,
    span,
)


def test_times_are_the_studios_own() -> None:
    assert clock("2026-11-24T23:30:00Z", 3600) == "00:30"
    assert day_and_clock("2026-11-24T23:30:00+00:00", 3600) == "Wed 25 Nov 00:30"
    assert clock("2026-11-24T23:30:00", 0) == "23:30"  # without an offset it is UTC
    assert clock("no time", 0) == ""
    assert clock_near("2026-11-25T16:15:00Z", "2026-11-25T20:00:00Z", 0) == "16:15"
    assert clock_near("2026-11-26T16:15:00Z", "2026-11-25T20:00:00Z", 0) == "Thu 16:15"


@pytest.mark.parametrize(
    ("due", "words"),
    [
        ("2026-11-25", "due today"),
        ("2026-11-26", "due tomorrow"),
        ("2026-11-28", "due Sat 28 Nov"),
        ("2026-11-23", "overdue since Mon 23 Nov"),
        ("next week", "due next week"),
        (" ", ""),
    ],
)
def test_due_days(due: str, words: str) -> None:
    assert due_words(due, date(2026, 11, 25)) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(-3, "0 s"), (59, "59 s"), (61, "1 min"), (9120, "2 h 32 min"), (7200, "2 h"), (90000, "25 h")],
)
def test_spans(seconds: float, words: str) -> None:
    assert span(seconds) == words


def test_sizes_have_sensible_precision() -> None:
    assert [size(n) for n in (0, 999, 320e6, 1.44e9, 812e9, 2.34e12)] == [
        "0 bytes",
        "999 bytes",
        "320 MB",
        "1.4 GB",
        "812 GB",
        "2.3 TB",
    ]


def test_lists_counts_and_places() -> None:
    assert [listing(list("abcd")[:n], 3) for n in range(5)] == ["", "a", "a and b", "a, b and c", "a, b, c and 1 more"]
    assert [counted(n, "scan") for n in (0, 1, 2)] == ["0 scans", "1 scan", "2 scans"]
    assert [reach(210, 0.5), reach(180, 80)] == ["210 mm", "180 to 260 mm"]
