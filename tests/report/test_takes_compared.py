from report.nights import jobs

from dawnproof.report.takes_compared import comparisons, two_pictures

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


def test_two_pictures_under_one_number_are_told_with_what_the_job_list_says() -> None:
    lines = two_pictures(JOBS["SL-0415"], 3600)
    assert lines[0] == "The job list says: watercolour, 480 x 380 mm"
    assert lines[1].startswith("Take 1: SL-0415_whole.tif, came 21:40, measures 480 x 380 mm, not filed")
    assert lines[2].startswith("Take 2: SL-0415_whole_t2.tif, came 21:52, measures ")
    assert two_pictures(JOBS["SL-C405"], 3600) == ()
