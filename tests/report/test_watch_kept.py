from dataclasses import replace

from report.nights import saltmarsh_lane
from report.scanned import at

from dawnproof.model import RunRow
from dawnproof.report.watch_kept import began_late, gaps, ran_words, runs_of

NIGHT = saltmarsh_lane()


def test_a_run_that_was_cut_off_leaves_a_gap() -> None:
    (gap,) = gaps(NIGHT)
    assert gap.cut_off
    assert ran_words(NIGHT) == "Watched 11 h, from 18:00 to 06:30, but cut off from 00:09 to 01:21 (1 h 12 min)"


def test_a_run_that_was_ended_is_said_to_be_stopped() -> None:
    night = replace(NIGHT, runs=(RunRow(at(17), at(23), at(23)),))
    assert gaps(night)[0].words(3600) == "stopped from 00:00 to 06:30 (6 h 30 min)"


def test_a_short_restart_is_no_gap() -> None:
    night = replace(NIGHT, runs=(RunRow(at(17), at(23)), RunRow(at(23, 4), at(5, 28))))
    assert gaps(night) == ()
    assert ran_words(night) == "Watched from 18:00 to 06:30 without a break"


def test_a_late_start_is_named_but_is_no_gap() -> None:
    night = replace(NIGHT, runs=(RunRow(at(19), at(5, 29)),))
    assert began_late(night) == at(19)
    assert ran_words(night) == "Watched 10 h, from 20:00 to 06:30 without a break; nothing was watched before 20:00"


def test_a_night_without_a_run_says_so() -> None:
    night = replace(NIGHT, runs=(RunRow("2026-11-20T17:00:00Z", "2026-11-21T05:00:00Z", "2026-11-21T05:00:00Z"),))
    assert runs_of(night) == ()
    assert ran_words(night).startswith("The daemon did not run")
