from dataclasses import replace
from xml.etree import ElementTree

import pytest
from report.nights import empty_night, hostile_night, many_jobs, saltmarsh_lane
from report.scanned import at

from dawnproof.model import RunRow
from dawnproof.report.night_axis import arrivals, axis
from dawnproof.report.timeline import Hung, draw_night, hang, is_replaced
from dawnproof.report.watch_kept import gaps


def hung(columns: int = 9, px_per_mm: float = 0.1) -> tuple[Hung, ...]:
    night = saltmarsh_lane()
    rule = axis(night)
    assert rule is not None
    return hang(arrivals(night, "bed-a", rule), gaps(night), px_per_mm, columns)


def test_works_hang_in_the_order_they_came_each_in_a_cell_of_its_own() -> None:
    cells = [(one.line, one.column) for one in hung()]
    assert cells == sorted(set(cells))
    assert {column for _, column in cells} == set(range(9))
    came = [one.arrival.scan.admitted_utc for one in hung() if one.arrival]
    assert came == sorted(came)


def test_outlines_have_their_true_relative_size() -> None:
    sizes = {one.arrival.view.row.job: (one.width, one.height) for one in hung() if one.arrival}
    assert sizes["SL-0417"] == pytest.approx((25.0, 33.7), abs=0.1)  # 210 x 297 mm of work, 40 mm of lid


def test_times_nobody_watched_are_hatched_where_they_fall() -> None:
    (number,) = [number for number, one in enumerate(hung()) if one.gap]
    assert number == len(hung()) - 1  # the last work came before the power went
    svg = ElementTree.fromstring(draw_night(saltmarsh_lane()))
    assert [e.get("class") for e in svg.iter("rect")].count("gap") == 2  # one a bed
    texts = [e.text for e in svg.iter("text")]
    assert texts.count("00:09-01:21") == 2
    early = replace(saltmarsh_lane(), runs=(RunRow(at(17), at(18)), RunRow(at(19), at(5, 29))))
    rule = axis(early)
    assert rule is not None
    came = hang(arrivals(early, "bed-a", rule), gaps(early), 0.1, 9)
    (gap,) = [number for number, one in enumerate(came) if one.gap]
    before, after = came[gap - 1].arrival, came[gap + 1].arrival
    assert before is not None
    assert after is not None
    assert before.scan.admitted_utc <= at(18) <= after.scan.admitted_utc


def test_a_replaced_take_is_struck_out_and_says_so() -> None:
    old = [one.arrival for one in hung() if one.arrival and is_replaced(one.arrival)]
    assert [(a.view.row.job, a.scan.name.take) for a in old if a.scan.name] == [("SL-C414", 1), ("SL-C405", 1)]
    svg = ElementTree.fromstring(draw_night(saltmarsh_lane()))
    assert sum(e.get("class") == "struck" for e in svg.iter("path")) == len(old)
    assert "18:50 L, old" in [e.text for e in svg.iter("text")]


def test_a_night_without_scans_or_times_is_not_drawn() -> None:
    assert draw_night(empty_night()) == ""
    assert draw_night(replace(saltmarsh_lane(), until_utc="")) == ""


def test_a_long_night_grows_in_height_and_stays_small() -> None:
    svg = draw_night(many_jobs(300))
    assert float(ElementTree.fromstring(svg).get("width", "")) <= 900
    assert len(svg) < 500_000


def test_hostile_names() -> None:
    ElementTree.fromstring(draw_night(hostile_night()) or "<svg/>")
