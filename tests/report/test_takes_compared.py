from report.nights import jobs

from dawnproof.report.takes_compared import comparisons

JOBS = {view.row.job: view for view in jobs()}


def test_a_part_made_good_shows_what_changed() -> None:
    (one,) = comparisons(JOBS["SL-C414"])
    assert one.words == "part L, take 2 for take 1: doubling 4 px at 165 mm before, sound, 0.3 px now"
    assert [(c.check, c.name, c.better) for c in one.changes] == [("seam", "doubling", True)]


def test_a_fault_that_remains_is_shown_too() -> None:
    (one,) = comparisons(JOBS["SL-C405"])
    assert one.words.endswith("doubling 5 px at 210 mm before, doubling 6 px at 210 mm now")
    assert not one.changes[0].better


def test_nothing_to_compare() -> None:
    assert comparisons(JOBS["SL-0401"]) == ()
