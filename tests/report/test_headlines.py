from dataclasses import replace

from report.nights import empty_night, good_night, jobs, listed, saltmarsh_lane
from report.scanned import at

from dawnproof.model import FixityRow, Pile, Place, RunRow, Space
from dawnproof.report.before_first import scanner_needs
from dawnproof.report.headlines import good_sentence, headlines, is_good, stay_words


def test_the_five_lines_of_a_mixed_night() -> None:
    ran, places, stays, scanner, copies = headlines(saltmarsh_lane())
    assert not ran.well
    assert ran.answer.startswith("Partly: watched 11 h, from 18:00 to 06:30, but cut off from 00:09 to 01:21")
    assert not places.well
    assert "Never seen: SL-0420 (due today) and SL-0421" in places.answer
    assert "2 files, SL0412 left side final.tif and SL-0413_whole.tif; their works must stay" in places.answer
    assert not stays.well
    assert stays.answers[0].startswith(
        "Must stay, due first: SL-0420 (today, no scan of it is filed: hold), SL-C405 (today), SL-0411 (tomorrow), "
        "SL-0406 (Fri 27 Nov), SL-0409 (Sat 28 Nov) and SL-0421 (Mon 30 Nov, no scan of it is filed: hold)"
    )
    assert not scanner.well
    assert scanner.answers[0].startswith("bed-a: clean the glass, streak 33 mm from the left; ")
    assert copies.answer.startswith("Yes: every archived file is in two places")
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
    assert [need.partition(":")[0] for need in needs] == ["bed-a", "bed-b", "Make room"]
    assert "run the scanner's white calibration" in needs[0]
    assert "lower the exposure (SL-0406: clipped, 180 mm2" in needs[0]
    assert needs[1] == "bed-b: set 16 bits a channel (SL-0409: really only 8 bits a channel)"
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
        "Never seen: SL-0412 (due Sat 28 Nov, perhaps the file SL0412 left side final.tif, set aside) "
        "and SL-0499 (due Sat 28 Nov)"
    )


def test_one_copy_only_is_a_no_and_has_to_be_acted_on() -> None:
    copies = headlines(replace(good_night(), second=""))[4]
    assert copies.answer.startswith("No: one copy only.")
    assert not copies.well
    assert not is_good(replace(good_night(), second=""))
    behind = replace(good_night().jobs[0], row=replace(good_night().jobs[0].row, second_missing=True))
    copies = headlines(replace(good_night(), jobs=(behind,)))[4]
    assert copies.answer.startswith("No, not all: the second copy is not verified of SL-0401")


def test_a_night_that_was_hardly_watched_was_watched_in_part() -> None:
    night = replace(good_night(), runs=(RunRow(at(5, 20), at(5, 29)),))
    ran = headlines(night)[0]
    assert ran.answer == "Partly: watched 10 min, from 06:20 to 06:30 without a break; nothing was watched before 06:20"
    assert not ran.well
    assert headlines(good_night())[0].answer.startswith("Yes: watched from 18:00")
    assert headlines(replace(good_night(), runs=()))[0].answer.startswith("No: the daemon did not run")


def test_what_is_for_the_desk_stands_apart_from_what_must_stay() -> None:
    """A work may go only where a sound scan of it is filed; of two pictures nobody knows yet which one is the work."""
    desk = {view.row.job: view for view in jobs() if view.pile is Pile.DESK}
    filed = replace(desk["SL-0410"], scans=tuple(replace(s, place=Place.ARCHIVE) for s in desk["SL-0410"].scans))
    assert headlines(replace(good_night(), jobs=(filed,)))[2].answers == (
        "A matter for the desk only; the work is scanned and may go: SL-0410 (Sat 28 Nov)",
    )
    assert headlines(replace(good_night(), jobs=tuple(desk.values())))[2].answers == (
        "Two pictures under one number; compare them with the work before it leaves: SL-0415",
        "A matter for the desk; no new scan is needed, but none is filed yet: SL-0410 (Sat 28 Nov)",
    )


def test_no_work_that_must_stay_is_hidden_behind_a_count() -> None:
    night = replace(saltmarsh_lane(), expected_not_seen=tuple(listed(f"SL-05{n:02d}") for n in range(25)))
    assert all(f"SL-05{n:02d}" in headlines(night)[2].answers[0] for n in range(25))
