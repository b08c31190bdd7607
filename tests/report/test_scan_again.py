from dataclasses import replace

from report.nights import good_night, hostile_night, saltmarsh_lane

from dawnproof.report.scan_again import scan_again, scan_again_html, scan_again_text

LINES = scan_again(saltmarsh_lane())


def test_by_bed_then_due_day() -> None:
    assert [(line.bed, line.job, line.part) for line in LINES] == [
        ("bed-a", "SL-C405", "whole"),
        ("bed-a", "SL-0411", "R"),
        ("bed-a", "SL-0406", "whole"),
        ("bed-b", "SL-0409", "whole"),
    ]


def test_what_in_seven_words_and_where_in_mm() -> None:
    assert all(len(line.what.split()) <= 7 for line in LINES)
    assert LINES[0].what == "doubling 6 px at 210 mm"
    assert LINES[0].where == "297 to 303 mm from left, 210 mm from top"
    assert LINES[1].what == "never scanned"


def test_takes_so_far_and_when_to_stop() -> None:
    assert [line.takes for line in LINES] == ["2; stop, decide first", "0", "1", "1"]


def test_the_paper_has_boxes_and_lines_to_write_on() -> None:
    text, page = scan_again_text(saltmarsh_lane()), scan_again_html(saltmarsh_lane())
    assert text.count("[ ] ") == len(LINES) == page.count('class="box"')
    assert text.count("condition before") == len(LINES)
    for words in ("condition before", "condition after", "takes so far", "SL-C405", "bed-b"):
        assert words in page
    assert max(map(len, text.splitlines())) <= 90


def test_several_faults_of_a_part_are_one_line() -> None:
    night = saltmarsh_lane()
    view = next(v for v in night.jobs if v.row.job == "SL-0406")
    other = next(v for v in night.jobs if v.row.job == "SL-0409")
    doubled = replace(view.scans[0], findings=view.scans[0].findings + other.scans[0].findings)
    (line,) = scan_again(replace(night, jobs=(replace(view, scans=(doubled,)),)))
    assert line.what == "clipped, 180 mm2 at 60 mm (+1)"


def test_nothing_to_do() -> None:
    assert "Nothing has to be scanned again." in scan_again_text(good_night())
    assert "Nothing has to be scanned again." in scan_again_html(good_night())


def test_hostile_names() -> None:
    text, page = scan_again_text(hostile_night()), scan_again_html(hostile_night())
    assert "\x1b" not in text + page
    assert "<script" not in page
