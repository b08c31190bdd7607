from dataclasses import replace

from report.nights import empty_night, evening, jobs
from report.scanned import at

from dawnproof.model import ArrivingRow, JobState
from dawnproof.report.sections import beds, done, found, glass, layout_picture, now, room, tonight, waiting

NIGHT = evening()
JOBS = {view.row.job: view for view in jobs()}


def test_what_goes_on_has_progress_and_time_left() -> None:
    rows = [row.plain for row in now(NIGHT)]
    assert rows[0].split() == ["measuring", "██████████░░░░░░", "62", "%,", "19", "s", "left", "SL-0418_whole.tif"]
    assert "30 %, 28 s left  SL-0419 ▐L■│R■▌" in rows[1]
    assert rows[2] == "settling  SL-0422_T.tif  410 MB on bed-a since 22:46, still growing"
    assert len(rows) == 3  # the file being measured is not told twice
    assert [row.plain for row in now(empty_night())] == ["at rest, watching the inbox"]


def test_what_a_helper_does_is_told_with_its_name() -> None:
    progress = tuple(
        replace(each, helper=name) for each, name in zip(NIGHT.progress, ("", "annex\x1b[2J"), strict=True)
    )
    rows = [row.plain for row in now(replace(NIGHT, progress=progress))]
    assert rows[0].endswith("SL-0418_whole.tif")
    assert "SL-0419 ▐L■│R■▌ on annex" in rows[1]
    assert "\x1b" not in rows[1]


def test_files_that_wait_their_turn_share_a_line() -> None:
    queue = tuple(ArrivingRow(f"SL-05{n:02d}_whole.tif", "bed-a", 10**9, at(21), "waiting") for n in range(5))
    rows = [row.plain for row in now(replace(NIGHT, arriving=queue, progress=(), jobs=()))]
    assert rows == ["queued    5 files: SL-0500_whole.tif, SL-0501_whole.tif, SL-0502_whole.tif and 2 more"]


def test_waiting_says_for_what_and_until_when() -> None:
    assert waiting(NIGHT)[0].plain == "SL-0411   ▐L■│R·▌ waits for part R until Wed 17:15"
    assert waiting(NIGHT)[1].plain == "never seen yet: SL-0420 due tomorrow and SL-0421 due Mon 30 Nov"


def test_layouts_in_one_line() -> None:
    assert layout_picture(JOBS["SL-C404"]) == "▐■│■╱■│■▌"
    assert layout_picture(JOBS["SL-C405"]) == "▐x▌"


def test_counts_fit_the_narrow_screen() -> None:
    (row,) = tonight(NIGHT)
    assert row.plain == "■4 back  ?3 look first  x3 again  d2 desk  □2 open  !2 no place"
    assert row.cell_len <= 70


def test_findings_newest_first_with_their_figure() -> None:
    rows = [row.plain for row in found(NIGHT, 40)]
    assert rows[0] == "22:33 - SL-0417 whole  streak 0.8 %, 33 mm from left"
    assert "22:04 x SL-C405 whole take 2  doubling 6 px at 210 mm" in rows
    assert [row[:5] for row in rows] == sorted((row[:5] for row in rows), reverse=True)


def test_beds_room_and_glass() -> None:
    assert beds(NIGHT)[0].plain == "bed-a     scanning last 22:46 SL-0422_T.tif: arriving"
    assert room(NIGHT)[0].plain == "archive 61 h left (812 GB)   inbox 7 h left (95.0 GB)"
    assert glass(NIGHT)[0].plain == "bed-a: streak 33 mm from the left (SL-0416 and SL-0417)"


def test_done_tells_what_costs_most_first() -> None:
    rows = [row.plain.split()[1] for row in done(NIGHT, 50)]
    assert rows[:4] == ["SL-C405", "SL-0406", "SL-0409", "SL-0410"]
    assert len(done(NIGHT, 5)) == 5


def test_a_job_being_joined_is_no_rest_though_its_progress_is_unknown() -> None:
    view = NIGHT.jobs[0]
    working = replace(view, row=replace(view.row, state=JobState.WORKING), pile=None)
    rows = [row.plain for row in now(replace(NIGHT, arriving=(), progress=(), jobs=(working,)))]
    assert rows[0].startswith("working")
    assert view.row.job in rows[0]
    assert len(rows) == 1
