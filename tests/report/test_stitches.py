from dataclasses import replace

from report.nights import archived, listed
from report.scanned import at, scan, with_readings

from dawnproof.model import Finding, JobView, Level, Reading, Where
from dawnproof.policy import make_finding
from dawnproof.report.repeated import own_notes
from dawnproof.report.stitches import stitch_words

AT = Where(298.0, 0.0, 4.0, 400.0)  # of a stitch at 300 mm; 787 px at 400 ppi are 50 mm


def joined(*doubling: Reading) -> JobView:
    scans = [scan("SL-C403", part, at(18), with_readings(one)) for part, one in zip("LR", doubling, strict=True)]
    notes = tuple(
        make_finding("join", "strip_used", Level.NOTE, f"the stitch strip of {s.file} at 787 px is shown: no other", "")
        for s in scans
    )
    return archived("SL-C403", scans, listed("SL-C403"), findings=notes)


def seam(value: float | None) -> Reading:
    return Reading("seam", "doubling", value, "px", 0.9, AT, why="" if value is not None else "nothing there")


def test_where_the_stitch_is_shown_in_mm_and_that_doubling_was_looked_for() -> None:
    assert stitch_words(joined(seam(0.2), seam(0.3))) == (
        "the final picture shows the stitch of part L at 50 mm and part R at 50 mm; doubling was looked for there and "
        "none was found (0.3 px at most)"
    )


def test_what_was_found_and_what_could_not_be_judged_is_told_part_by_part() -> None:
    assert stitch_words(joined(seam(1.2), seam(0.0))).endswith(
        "; doubling was looked for there: part L 1.2 px; in the others none was found (0.0 px at most)"
    )
    unjudged = stitch_words(joined(seam(None), seam(0.1)))
    assert unjudged.endswith("; it could not be judged in part L, look there at 1:1")
    assert "none was found (0.1 px at most)" in unjudged


def test_it_is_one_note_of_the_job_and_nothing_without_such_a_stitch() -> None:
    view = joined(seam(0.2), seam(0.3))
    assert [one.text for one in own_notes(view, ())] == [stitch_words(view)]
    plain = replace(view, row=replace(view.row, findings=(Finding("join", "curve", Level.NOTE, None, "x"),)))
    assert stitch_words(plain) == ""
