from dataclasses import replace

from report.nights import archived, good_night, listed
from report.scanned import at, scan, sound

from dawnproof.model import Level, Pile, Reading
from dawnproof.policy import make_finding
from dawnproof.report.repeated import own_notes, repeated, unjudged


def night_with(notes: int, jobs: int):  # type: ignore[no-untyped-def]
    views = []
    for number in range(jobs):
        job = f"SL-{number:04d}"
        note = make_finding("resolution", "halo", Level.NOTE, f"halo {number} %", "")
        views.append(archived(job, [scan(job, "whole", at(18), sound())], listed(job), Pile.MAY_GO_BACK,
                              (note,) if number < notes else ()))  # fmt: skip
    return replace(good_night(), jobs=tuple(views))


def test_a_note_on_most_jobs_is_said_once() -> None:
    night = night_with(notes=5, jobs=8)
    (common,) = repeated(night)
    assert common.words.startswith("On 5 of 8 jobs: halo 0 % (SL-0000; the others alike: SL-0001")
    assert all(own_notes(view, repeated(night)) == () for view in night.jobs)


def test_a_note_on_half_of_the_jobs_stays_with_them() -> None:
    night = night_with(notes=4, jobs=8)
    assert repeated(night) == ()
    assert [len(own_notes(view, ())) for view in night.jobs] == [1] * 4 + [0] * 4


def test_two_jobs_are_no_majority() -> None:
    assert repeated(night_with(notes=2, jobs=2)) == ()


def test_a_note_on_all_jobs() -> None:
    assert repeated(night_with(notes=3, jobs=3))[0].words.startswith("On all 3 jobs: ")


def test_notes_alike_of_one_job_are_one_line_with_their_number() -> None:
    strips = tuple(make_finding("join", "strip_used", Level.NOTE, f"strip of part {n}", "") for n in range(4))
    other = make_finding("join", "overlap", Level.NOTE, "overlap 22 mm", "")
    scans = [scan("SL-0440", "whole", at(18), sound())]
    view = archived("SL-0440", scans, listed("SL-0440"), Pile.MAY_GO_BACK, (*strips, other))
    texts = sorted(one.text for one in own_notes(view, ()))
    assert texts == ["overlap 22 mm", "strip of part 0 (and 3 more like it)"]


def test_an_overlap_that_could_be_larger_says_that_the_join_is_sound_only_where_it_is() -> None:
    overlap = make_finding("join", "overlap", Level.NOTE, "overlap 21 mm; 40 mm or more is better", "")
    view = archived("SL-0440", [scan("SL-0440", "whole", at(18), sound())], None, findings=(overlap,))
    joined = replace(view, row=replace(view.row, join="{}"))
    assert own_notes(joined, ())[0].text.endswith("; the join itself was judged and is sound")
    for level in (Level.UNDECIDED, Level.FAULT):
        other = make_finding("join", "residual", level, "x", "")
        open_join = replace(joined, row=replace(joined.row, findings=(overlap, other)))
        assert own_notes(open_join, ())[0].text == overlap.text
    assert own_notes(view, ())[0].text == overlap.text


def test_what_is_not_judged_and_holds_nothing_back_is_told_apart_and_never_twice() -> None:
    readings = [
        Reading("seam", "doubling", None, "px", why="the strip is bare"),
        Reading("seam", "lift", None, "mm", why="the strip is bare"),
        Reading("resolution", "halo", None, "%", why="no clear edges"),
    ]
    view = archived("SL-0440", [scan("SL-0440", "whole", at(18), readings)], None, Pile.LOOK_FIRST)
    night = replace(good_night(), jobs=(view,))
    assert unjudged(night, ()) == ("SL-0440, whole: sharpening halo could not be judged: no clear edges",)
    assert own_notes(view, ()) == ()
