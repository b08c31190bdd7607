from dataclasses import replace

import pytest
from report.nights import empty_night, saltmarsh_lane

from dawnproof.report.night_axis import arrivals, axis, heavier


def test_the_rule_has_round_figures_in_the_studios_time() -> None:
    rule = axis(saltmarsh_lane())
    assert rule is not None
    ticks = rule.ticks(8)
    assert [tick.words for tick in ticks] == ["18", "20", "22", "00", "02", "04", "06"]
    assert ticks[0].share == 0.0
    assert ticks[1].share == pytest.approx(2 / 12.5)


def test_a_short_night_has_minutes() -> None:
    rule = axis(replace(empty_night(), until_utc="2026-11-24T17:06:00Z"))
    assert rule is not None
    assert [tick.words for tick in rule.ticks(6)] == [f"17:0{m}" for m in range(7)]


def test_a_night_of_no_length_still_has_one_and_one_without_times_none() -> None:
    night = empty_night()
    rule = axis(replace(night, until_utc=night.since_utc))
    assert rule is not None
    assert rule.end > rule.begin
    assert axis(replace(night, since_utc="?")) is None


def test_scans_lie_on_their_bed_in_order_in_the_shape_of_their_pile() -> None:
    night = saltmarsh_lane()
    rule = axis(night)
    assert rule is not None
    found = arrivals(night, "bed-b", rule)
    assert [(a.view.row.job, a.shape) for a in found] == [("SL-0402", "■"), ("SL-0409", "x"), ("SL-0410", "d")]
    assert found[0].share == pytest.approx((25 / 60) / 12.5)
    shapes = [a.shape for a in arrivals(night, "bed-a", rule) if a.view.row.job == "SL-C414"]
    assert shapes == ["x", "■", "■"]  # the first take was lifted, then made good


def test_the_heavier_shape_is_shown() -> None:
    assert heavier("■", "x") == heavier("x", "?") == "x"
    assert heavier("■", "d") == "d"


def test_the_rule_begins_when_the_daemon_first_ran() -> None:
    night = replace(saltmarsh_lane(), since_utc="2026-11-24T06:00:00Z")
    rule = axis(night)
    assert rule is not None
    assert f"{rule.begin:%H:%M}" == "17:58"
