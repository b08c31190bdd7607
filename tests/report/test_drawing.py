import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from report.nights import HOSTILE, jobs
from report.scanned import at, scan, sound

from dawnproof.report.account import faults
from dawnproof.report.drawing import HATCHES, Rect, draw_scan, frame_mm, hatch, rule_step_mm, work_mm

JOBS = {view.row.job: view for view in jobs()}
SVG = "{http://www.w3.org/2000/svg}"


def drawn(job: str, width_px: float = 680.0) -> ElementTree.Element:
    (one,) = faults(JOBS[job])
    assert one.scan is not None
    text = draw_scan(one.scan, 0.6, [(1, one)], width_px)
    return ElementTree.fromstring(text)


def rect(svg: ElementTree.Element, name: str) -> Rect:
    found = next(e for e in svg.iter("rect") if e.get("class") == name)
    return Rect(*(float(found.get(key, "0")) for key in ("x", "y", "width", "height")))


def test_a_fault_lies_at_its_place_in_mm() -> None:
    svg = drawn("SL-0406")  # clipped: 120 to 160 mm across, 60 to 72 mm along
    spot = rect(svg, "fault")
    assert spot.x == pytest.approx(120, abs=0.1)
    assert spot.width == pytest.approx(40, abs=0.1)
    assert spot.y + spot.height / 2 == pytest.approx(66, abs=0.1)  # at least 8 px high: grown about its middle


def test_the_work_lies_in_its_frame() -> None:
    svg = drawn("SL-0406")
    assert rect(svg, "frame").width == pytest.approx(340, abs=0.1)  # 300 mm of work, 20 mm of lid each side
    assert rect(svg, "work").x == pytest.approx(20, abs=0.1)
    assert rect(svg, "work").width == pytest.approx(300, abs=0.2)


def test_the_scale_holds_unless_the_page_is_too_narrow() -> None:
    wide, narrow = drawn("SL-0406"), drawn("SL-0406", width_px=150.0)
    assert float(wide.get("width", "")) == pytest.approx(340 * 0.6 + 40, abs=1)
    assert float(narrow.get("width", "")) <= 150


def test_the_profile_of_a_lift_peaks_where_it_is_worst() -> None:
    svg = drawn("SL-C405")
    points = next(e for e in svg.iter("polyline")).get("points", "").split()
    pairs = [tuple(map(float, point.split(","))) for point in points]
    assert max(pairs)[1] == pytest.approx(210, abs=1)
    assert any(e.text == "6.2 px" for e in svg.iter("text"))


def test_it_says_in_words_what_it_shows() -> None:
    label = drawn("SL-C405").get("aria-label", "")
    assert label == "Outline of SL-C405_whole_t2.tif (whole), 520 x 420 mm. Marked 1: doubling 6 px at 210 mm"


def test_a_name_cannot_leave_its_place() -> None:
    text = draw_scan(replace(scan("SL-0401", "whole", at(18), sound()), file=f'"><b>{HOSTILE}'), 0.5)
    assert "<b>" not in text
    assert "<script" not in text
    ElementTree.fromstring(text)


def test_what_was_not_measured_is_not_drawn() -> None:
    one = scan("SL-0401", "whole", at(18), sound())
    assert draw_scan(replace(one, measured=None), 0.5) == ""
    assert one.measured is not None
    bare = replace(one.measured, crop=None, ppi_x=None, ppi_y=None, thumb=b"")
    width, height = frame_mm(bare)  # told at 300 ppi
    assert width == pytest.approx(bare.width_px / 300 * 25.4)
    assert work_mm(bare) == Rect(0.0, 0.0, width, height)
    assert "<image" not in draw_scan(replace(one, measured=bare), 0.5)


def test_the_picture_can_be_left_out() -> None:
    one = scan("SL-0401", "whole", at(18), sound())
    assert len(re.findall("<image", draw_scan(one, 0.5))) == 1
    from markupsafe import Markup

    assert "<image" not in draw_scan(one, 0.5, picture=Markup(""))


@pytest.mark.parametrize("px_per_mm", [0.05, 0.3, 0.62, 1.15, 3.4, 30.0])
def test_rules_and_hatchings_suit_every_scale(px_per_mm: float) -> None:
    step = rule_step_mm(px_per_mm)
    assert step * px_per_mm >= 34
    assert step % 2 == 0
    number = int(hatch(px_per_mm).removeprefix("hatch"))
    assert 0.3 < HATCHES[number] * px_per_mm < 4
