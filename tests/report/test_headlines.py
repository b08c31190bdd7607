from dataclasses import replace

from report.nights import empty_night, good_night, jobs, listed, saltmarsh_lane

from dawnproof.model import FixityRow, Pile, Space
from dawnproof.report.headlines import good_sentence, headlines, is_good, scanner_needs, stay_words


def test_the_five_lines_of_a_mixed_night() -> None:
    ran, places, stays, scanner, copies = headlines(saltmarsh_lane())
    assert not ran.well
    assert "cut off from 00:09 to 01:21" in ran.answer
    assert not places.well
    assert "Never seen: SL-0420 (due today) and SL-0421" in places.answer
    assert "2 files without a place" in places.answer
    assert not stays.well
    assert stays.answers[0].startswith("Must stay, due first: SL-C405 (today), SL-0411 (tomorrow), SL-0406")
    assert not scanner.well
    assert "bed-a: clean the glass, streak 33 mm from the left" in scanner.answers
    assert copies.well


def test_a_good_night_is_one_sentence() -> None:
    assert is_good(good_night())
    assert good_sentence(good_night()) == (
        "A good night: watched from 18:00 to 06:30 without a break; 4 works (every expected one) archived, "
        "nothing found against returning any; every file in two places."
    )
    assert "no work came; one copy only" in good_sentence(empty_night())


def test_each_thing_to_do_ends_the_good_night() -> None:
    night = good_night()
    look = replace(night.jobs[0], pile=Pile.LOOK_FIRST)
    behind = replace(night.jobs[0], row=replace(night.jobs[0].row, second_missing=True))
    for worse in (
        replace(night, alarms=("the disk is full",)),
        replace(night, runs=()),
        replace(night, jobs=(look,)),
        replace(night, jobs=(behind,)),
        replace(night, fixity=(FixityRow("2026-11-25T02:00:00Z", "SL-0388", False, "data/SL-0388.tif changed"),)),
        replace(night, space=(Space("/studio/archive", 10**9, 2.0),)),
        replace(night, unplaced=saltmarsh_lane().unplaced),
        replace(night, marks=saltmarsh_lane().marks),
    ):
        assert not is_good(worse)


def test_settings_and_the_reference_are_the_scanners_need() -> None:
    needs = scanner_needs(saltmarsh_lane())
    assert "bed-b: check the settings (SL-0409: really only 8 bits a channel)" in needs
    assert any(need.startswith("bed-a: run the scanner's white calibration") for need in needs)
    assert scanner_needs(good_night()) == ()


def test_why_a_work_stays() -> None:
    views = {view.row.job: view for view in jobs()}
    night = saltmarsh_lane()
    assert stay_words(views["SL-C405"], night) == "SL-C405 (due today: doubling 6 px at 210 mm)"
    assert stay_words(views["SL-0411"], night) == "SL-0411 (due tomorrow: waits for part R)"
    assert stay_words(views["SL-0417"], night) == "SL-0417 (due Sat 28 Nov: hold: owner calls first)"


def test_a_work_that_was_set_aside_under_an_odd_name_is_not_simply_missing() -> None:
    night = replace(saltmarsh_lane(), expected_not_seen=(listed("SL-0412"), listed("SL-0499")))
    assert headlines(night)[1].answers[0] == (
        "Never seen: SL-0412 (due Sat 28 Nov, perhaps among the files without a place) and SL-0499 (due Sat 28 Nov)"
    )
