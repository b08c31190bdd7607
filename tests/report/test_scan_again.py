from dataclasses import replace

from report.nights import good_night, hostile_night, listed, saltmarsh_lane

from dawnproof.model import Asked
from dawnproof.report.morning_text import summary_text
from dawnproof.report.scan_again import STOP_WORDS, scan_again, scan_again_html, scan_again_text

LINES = scan_again(saltmarsh_lane())


def test_by_bed_then_due_day_and_works_never_seen_at_the_end() -> None:
    assert [(line.bed, line.job, line.part) for line in LINES] == [
        ("bed-a", "SL-C405", "whole"),
        ("bed-a", "SL-0411", "R"),
        ("bed-a", "SL-0406", "whole"),
        ("bed-b", "SL-0409", "whole"),
        ("", "SL-0420", "whole"),
        ("", "SL-0421", "whole"),
    ]
    assert [line.due for line in LINES] == ["today", "tomorrow", "Fri 27 Nov", "Sat 28 Nov", "today", "Mon 30 Nov"]


def test_what_in_seven_words_and_where_in_mm_as_on_the_page() -> None:
    assert all(len(line.what.split()) <= 7 for line in LINES)
    assert LINES[0].what == "doubling 6 px at 210 mm"
    assert LINES[0].where == "297 to 303 mm from the left, 165 to 255 mm from the top, worst at 210 mm"
    assert LINES[0].where in summary_text(saltmarsh_lane()).replace("\n    ", " ")
    assert LINES[1].what == "never scanned"


def test_what_to_do_has_the_value_to_set_and_the_name_to_save_under() -> None:
    asked = Asked(16, 400, "{job}_{part}[_t{take}]")
    night = saltmarsh_lane()
    lines = scan_again(replace(night, jobs=tuple(replace(view, asked=asked) for view in night.jobs), asked=asked))
    told = {line.job: (line.do, line.save) for line in lines}
    assert told["SL-0409"] == ("set 16 bits a channel", "SL-0409_whole_t2.tif")
    assert told["SL-0406"][0].startswith("lower the exposure")
    assert told["SL-0411"][1] == "SL-0411_R.tif"
    assert told["SL-C405"][1] == "SL-C405_whole_t3.tif"
    assert told["SL-0420"] == ("find the file, or scan", "SL-0420_whole.tif")


def test_a_work_never_seen_names_the_file_that_was_set_aside() -> None:
    work = replace(listed("SL-0412"), parts=("L", "R"))
    night = replace(saltmarsh_lane(), expected_not_seen=(work,), asked=Asked(naming="{job}_{part}[_t{take}]"))
    line = scan_again(night)[-1]
    assert line.do == "see which part SL0412 left side final.tif, set aside, may be; scan every part that has no file"
    assert (line.part, line.save) == ("L, R", "SL-0412_L.tif and SL-0412_R.tif")


def test_takes_so_far_and_when_to_stop() -> None:
    assert [line.takes for line in LINES] == ["2", "0 (there is L 1)", "1", "1", "0", "0"]
    assert LINES[0].do.startswith(STOP_WORDS)
    assert not any(STOP_WORDS in line.do for line in LINES[1:])


def test_what_the_scanner_needs_comes_first_and_the_cautions_last() -> None:
    for sheet in (scan_again_text(saltmarsh_lane()), scan_again_html(saltmarsh_lane())):
        first, cautions = sheet.index("Before the first scan"), sheet.index("from the third take on")
        assert first < sheet.index("clean the glass") < sheet.index("SL-C405") < cautions
        assert "exchanged for who stands before the bed" in " ".join(sheet.split())


def test_the_paper_has_boxes_and_lines_to_write_on() -> None:
    text, page = scan_again_text(saltmarsh_lane()), scan_again_html(saltmarsh_lane())
    assert text.count("[ ] ") == len(LINES) == page.count('class="box"')
    assert text.count("condition before") == len(LINES)
    assert text.count(", due ") == page.count(", due ") == len(LINES)
    for words in ("condition before", "condition after", "takes so far", "SL-C405", "bed-b"):
        assert words in page
    assert max(map(len, text.splitlines())) <= 90


def test_several_faults_of_a_part_are_one_line() -> None:
    night = saltmarsh_lane()
    view = next(v for v in night.jobs if v.row.job == "SL-0406")
    other = next(v for v in night.jobs if v.row.job == "SL-0409")
    doubled = replace(view.scans[0], findings=view.scans[0].findings + other.scans[0].findings)
    line = scan_again(replace(night, jobs=(replace(view, scans=(doubled,)),)))[0]
    assert line.what.startswith("clipped, 180 mm2")
    assert line.what.endswith(" (+1)")
    assert line.do.endswith("; set 16 bits a channel")


def test_nothing_to_do() -> None:
    assert "Nothing has to be scanned again." in scan_again_text(good_night())
    assert "Nothing has to be scanned again." in scan_again_html(good_night())


def test_hostile_names() -> None:
    text, page = scan_again_text(hostile_night()), scan_again_html(hostile_night())
    assert "\x1b" not in text + page
    assert "<script" not in page
