import itertools
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from report.nights import empty_night, hostile_night, many_jobs, saltmarsh_lane
from report.scanned import at

from dawnproof.model import RunRow
from dawnproof.report.night_axis import arrivals, axis
from dawnproof.report.timeline import LEVELS, draw_night, hang, without_tail


def test_works_hang_at_their_time_without_covering_each_other() -> None:
    night = saltmarsh_lane()
    rule = axis(night)
    assert rule is not None
    hung = hang(arrivals(night, "bed-a", rule), 900.0, 0.09)
    for level in range(LEVELS):
        row = [one for one in hung if one.level == level]
        assert all(a.x + a.width <= b.x for a, b in itertools.pairwise(row))
    assert hung[0].time_x == hung[0].x == pytest.approx(900 * (12 / 60) / 12.5)
    assert all(one.x >= one.time_x - 0.01 for one in hung)  # pushed aside at most to the right, its thread tells


def test_outlines_have_their_true_relative_size() -> None:
    night = saltmarsh_lane()
    rule = axis(night)
    assert rule is not None
    hung = {one.arrival.view.row.job: one for one in hang(arrivals(night, "bed-a", rule), 900.0, 0.1)}
    assert hung["SL-0417"].width == pytest.approx(25.0, abs=0.1)  # 210 mm of work, 40 mm of lid
    assert hung["SL-0417"].height == pytest.approx(33.7, abs=0.1)


def test_times_nobody_watched_are_hatched() -> None:
    svg = ElementTree.fromstring(draw_night(saltmarsh_lane()))
    (gap,) = [e for e in svg.iter("rect") if e.get("class") == "gap"]
    length = 960 - 64 - 68
    assert float(gap.get("x", "")) == pytest.approx(64 + length * (6 + 9 / 60) / 12.5, abs=1)
    assert float(gap.get("width", "")) == pytest.approx(length * 1.2 / 12.5, abs=1)


def test_a_night_without_scans_or_times_is_not_drawn() -> None:
    assert draw_night(empty_night()) == ""
    assert draw_night(replace(saltmarsh_lane(), until_utc="")) == ""


def test_a_long_night_grows_in_length_and_stays_small() -> None:
    svg = draw_night(many_jobs(300))
    assert float(ElementTree.fromstring(svg).get("width", "")) > 3000
    assert len(svg) < 500_000


def test_hostile_names() -> None:
    ElementTree.fromstring(draw_night(hostile_night()) or "<svg/>")


def test_a_long_time_at_the_end_that_nobody_watched_is_cut_short() -> None:
    night = replace(saltmarsh_lane(), runs=(RunRow(at(17), at(22), at(22)),))
    rule = axis(night)
    assert rule is not None
    short = without_tail(rule, night)
    assert f"{short.end:%H:%M}" == "23:45"  # five hours watched, to 23:00 in the studio, and 15 % more
    assert "not watched until 06:30" in draw_night(night)
    watched = replace(night, runs=(RunRow(at(17), at(5, 29)),))
    assert without_tail(rule, watched) == rule
