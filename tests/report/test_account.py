from dataclasses import replace

from report.nights import jobs, saltmarsh_lane

from dawnproof.model import Pile, Place
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
