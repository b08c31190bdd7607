from dataclasses import replace

from report.nights import hostile_night, jobs
from report.scanned import at

from dawnproof.model import MoveRow, Reading
from dawnproof.report.job_text import job_text

JOBS = {view.row.job: view for view in jobs()}


def test_all_that_is_known_of_a_job_to_scan_again() -> None:
    moves = [MoveRow("ab", "/s/inbox/SL-C405_whole.tif", "/s/rework/SL-C405/SL-C405_whole.tif", at(21, 7))]
    text = job_text(JOBS["SL-C405"], moves, at(5), 3600)
    for words in (
        "SL-C405, due today, acrylic on canvas",
        "scan again",
        "parts: whole (fault)",
        "takes so far: whole 2",
        "whole, take 2 ---",
        "whole, superseded or not counted ---",
        "x doubling at the stitch 6.2 px",
        "> Stop: this would be the third take",
        "- the published guidelines",
        "Tue 24 Nov 22:07: /s/inbox",
    ):
        assert words in text
    assert max(map(len, text.splitlines())) <= 78


def test_readings_without_a_limit_are_told_too() -> None:
    view = JOBS["SL-0401"]
    (scan,) = view.scans
    assert scan.measured is not None
    readings = (*scan.measured.readings, Reading("resolution", "halo", 3.2, "%"))
    halo = replace(scan, measured=replace(scan.measured, readings=readings))
    assert "resolution, halo: 3.2 %" in job_text(replace(view, scans=(halo,)))


def test_an_archived_job_asks_for_nothing() -> None:
    text = job_text(JOBS["SL-0401"])
    assert "may go back" in text
    assert "master: /studio/archive/SL-0401/data/SL-0401.tif" in text
    assert "> " not in text


def test_an_open_job_says_what_it_waits_for() -> None:
    text = job_text(JOBS["SL-0411"])
    assert "unfinished, waits for part R" in text
    assert "parts: L R (missing)" in text


def test_hostile_names() -> None:
    text = "".join(job_text(view) for view in hostile_night().jobs)
    assert not any(c in text for c in "\x1b\u202e\u2028")
