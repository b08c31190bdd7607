from dataclasses import replace

import pytest
from report.nights import archived, empty_night, evening, jobs, reference, unplaced
from report.scanned import at, lifted, scan, sound, with_readings

from dawnproof.model import ArrivingRow, Finding, JobView, Level, Needs, Night, ScanRow
from dawnproof.report.verdict import Word, last_verdict

JOBS = {view.row.job: view for view in jobs()}


def only(*scans: ScanRow) -> Night:
    job = scans[0].name.job if scans[0].name else ""
    return replace(empty_night(), jobs=(archived(job, scans, None),))


def line(night: Night) -> tuple[Word, str]:
    verdict = last_verdict(night)
    assert verdict is not None
    return verdict.word, verdict.line


def test_a_sound_scan_may_be_lifted() -> None:
    assert line(only(scan("SL-0412", "R", at(20), sound()))) == (Word.LIFT, "SL-0412 R: nothing found, lift it")


def test_a_doubled_scan_stays_on_the_bed() -> None:
    night = only(scan("SL-0412", "R", at(20), with_readings(lifted())))
    assert line(night) == (Word.LEAVE, "SL-0412 R: doubling 6 px at 210 mm: leave it, see note")


def undecided(check: str) -> Finding:
    return Finding(check, "softest", Level.UNDECIDED, None, "could not be judged")


@pytest.mark.parametrize("check", ["seam", "clipping", "crop", "focus", "join"])
def test_never_lift_what_was_not_judged(check: str) -> None:
    word, words = line(only(scan("SL-0412", "R", at(20), sound(), findings=(undecided(check),))))
    assert word is Word.LOOK
    assert "nothing found" not in words
    assert words.endswith("look at it at 1:1 before you lift it")


def test_what_holds_nothing_back_is_named_beside() -> None:
    lift = Finding("seam", "lift", Level.UNDECIDED, None, "no parallax is known")
    night = only(scan("SL-0412", "R", at(20), sound(), findings=(lift, undecided("fringe"))))
    assert line(night) == (Word.LIFT, "SL-0412 R: nothing found, lift it (not judged: colour fringes)")


def test_a_fault_of_the_desk_lets_the_work_go() -> None:
    profile = Finding("encoding", "profile", Level.FAULT, Needs.DESK, "no profile")
    assert line(only(scan("SL-0412", "R", at(20), sound(), findings=(profile,))))[0] is Word.LIFT
    other = Finding("job", "other_picture", Level.FAULT, Needs.DESK, "another picture")
    assert line(only(scan("SL-0412", "R", at(20), sound(), findings=(other,))))[0] is Word.LEAVE


def test_a_file_without_a_place_keeps_the_work_on_the_bed() -> None:
    night = replace(empty_night(), unplaced=(unplaced("SL-0413_whole.tif", "it is damaged", at(20)),))
    assert line(night) == (Word.LEAVE, "SL-0413_whole.tif: it is damaged: leave it")


def test_the_newest_file_speaks_and_the_one_before_is_kept() -> None:
    night = evening()
    assert line(night) == (Word.WAIT, "SL-0422_T.tif: arriving, leave it")
    before = last_verdict(night, judged=True)
    assert before is not None
    assert before.line == "SL-0419 R: nothing found, lift it"


def test_each_bed_has_its_own() -> None:
    night = evening()
    assert [getattr(last_verdict(night, bed), "bed", None) for bed in ("bed-a", "bed-b", "bed-c")] == [
        "bed-a",
        "bed-b",
        None,
    ]


def test_a_reference_is_no_work() -> None:
    word, words = line(replace(empty_night(), references=(reference(),)))
    assert word is Word.NONE
    assert "lift" not in words


def test_parts_still_to_come_are_named() -> None:
    view: JobView = JOBS["SL-0411"]
    assert line(replace(empty_night(), jobs=(view,)))[1] == "SL-0411 L: nothing found, lift it; R still to come"


def test_nothing_came() -> None:
    assert last_verdict(empty_night()) is None


def test_names_are_harmless() -> None:
    night = replace(empty_night(), arriving=(ArrivingRow("\x1b[2J\u202e.tif", "bed-a", 1, at(20), "settling"),))
    assert line(night)[1] == "\\x1b[2J\\u202e.tif: arriving, leave it"
