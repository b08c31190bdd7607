from dataclasses import replace

from report.nights import archived, good_night, listed
from report.scanned import at, scan, sound

from dawnproof.model import Level, Pile
from dawnproof.policy import make_finding
from dawnproof.report.repeated import own_notes, repeated


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
