from dataclasses import replace

from report.nights import jobs, rework, saltmarsh_lane
from report.scanned import at, scan, sound, with_readings

from dawnproof.model import Finding, Level, Needs, Pile, Place, Reading
from dawnproof.report.account import (
    STOP,
    beds_of,
    faults,
    in_pile,
    is_third_take_next,
    takes,
    title,
    to_look_at,
    today,
    what_to_do,
)

JOBS = {view.row.job: view for view in jobs()}


def test_only_the_take_that_counts_speaks() -> None:
    found = faults(JOBS["SL-C405"])
    assert [(s.part_words, s.brief) for s in found] == [("whole, take 2", "doubling 6 px at 210 mm")]
    assert faults(JOBS["SL-C414"]) == ()  # the lifted first take was made good


def test_takes_count_closed_ones_too() -> None:
    assert takes(JOBS["SL-C414"]) == {"L": 2, "R": 1}
    assert is_third_take_next(JOBS["SL-C414"], "L")
    assert not is_third_take_next(JOBS["SL-C414"], "R")


def test_before_a_third_take_the_advice_is_to_stop() -> None:
    assert what_to_do(JOBS["SL-C405"])[0] == STOP
    assert STOP not in what_to_do(JOBS["SL-0406"])


def test_cautions_are_not_part_of_the_advice() -> None:
    assert all("Cautions" not in words for view in jobs() for words in what_to_do(view))
    assert faults(JOBS["SL-0406"])[0].cautious
    assert not faults(JOBS["SL-0410"])[0].cautious


def test_a_finding_of_the_job_stands_once_and_without_a_part() -> None:
    view = JOBS["SL-0415"]
    copied = replace(view, row=replace(view.row, findings=view.row.findings + view.scans[0].findings))
    assert [s.part_words for s in faults(copied)] == ["the job"] or len(faults(copied)) == 1


def test_piles_are_due_first() -> None:
    night = saltmarsh_lane()
    assert [v.row.job for v in in_pile(night, Pile.SCAN_AGAIN)] == ["SL-C405", "SL-0406", "SL-0409"]
    assert [v.row.job for v in in_pile(night, Pile.UNFINISHED)] == ["SL-0411"]


def test_a_job_without_an_outcome_is_unfinished() -> None:
    night = saltmarsh_lane()
    open_job = replace(night.jobs[0], pile=None)
    assert open_job in in_pile(replace(night, jobs=(open_job,)), Pile.UNFINISHED)


def test_every_job_lies_in_exactly_one_pile() -> None:
    night = saltmarsh_lane()
    assert sorted(v.row.job for pile in Pile for v in in_pile(night, pile)) == sorted(v.row.job for v in night.jobs)


def test_words_of_a_job() -> None:
    view = JOBS["SL-0401"]
    assert (
        title(view, today(saltmarsh_lane())) == "SL-0401, due Sat 28 Nov, watercolour, 480 x 380 mm, print 800 mm long"
    )
    assert beds_of(view) == ("bed-a",)
    assert [s.brief for s in to_look_at(JOBS["SL-0416"])] == ["sharpness not judged"]


def test_a_closed_scan_is_not_counted_among_those_used() -> None:
    view = JOBS["SL-C414"]
    assert any(scan.place is Place.CLOSED for scan in view.scans)
    assert to_look_at(view) == ()


def test_one_sentence_about_one_scan_is_said_once_and_both_ways_are_meant() -> None:
    low = [Reading("resolution", name, 200.0, "1/in", 1.0) for name in ("ppi_x", "ppi_y")]
    words = "resolution at the ordered print size 166 ppi"
    found = tuple(Finding("resolution", n, Level.FAULT, Needs.ARTWORK, words) for n in ("ppi_x", "ppi_y"))
    view = rework("SL-0430", [scan("SL-0430", "whole", at(22), with_readings(*low), findings=found)], None)
    (only,) = faults(view)
    assert (only.text, only.brief) == (words, "only 166 ppi on the print")


def test_what_holds_across_alone_says_across() -> None:
    low = Reading("resolution", "ppi_x", 200.0, "1/in", 1.0)
    found = (Finding("resolution", "ppi_x", Level.FAULT, Needs.ARTWORK, "x"),)
    view = rework("SL-0430", [scan("SL-0430", "whole", at(22), with_readings(low), findings=found)], None)
    assert faults(view)[0].brief == "only 200 ppi across"


def test_what_could_not_be_judged_for_one_reason_is_one_sentence() -> None:
    why = "no edge of the work could be told from the lid"
    names = ("works on the bed", "skew", "margin around the work")
    found = tuple(Finding("crop", n, Level.UNDECIDED, None, f"{n} could not be judged: {why}") for n in names)
    other = Finding("seam", "doubling", Level.UNDECIDED, None, "doubling could not be judged: bare paper")
    view = rework("SL-0431", [scan("SL-0431", "whole", at(22), sound(), findings=(*found, other))], None)
    texts = [s.text for s in to_look_at(view)]
    assert len(texts) == 2
    assert f"works on the bed, skew and margin around the work could not be judged: {why}" in texts
