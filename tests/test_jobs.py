"""A job's life: takes, completeness, waiting, and the job list."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from dawnproof.jobs import Step, of_one_session, read_job_list, standing, wanted, with_takes
from dawnproof.model import Finding, Level, ListedJob, PartName, Place, Role, ScanRow
from dawnproof.rulebook import load_book

NOW = datetime(2026, 11, 24, 22, 0, tzinfo=UTC)
RULES = load_book("fine-art").jobs
count = 0


def row(part: str, take: int = 1, place: Place = Place.INBOX, minutes_ago: float = 0.0, light: str = "", sha: str = "",
        role: Role = Role.WORK) -> ScanRow:  # fmt: skip
    global count
    count += 1
    admitted = (NOW - timedelta(minutes=minutes_ago)).isoformat()
    name = PartName("SL-0412", part, role, take, light)
    sha = sha or f"{count:064x}"
    return ScanRow(count, sha, 1, f"SL-0412_{part}.tif", name, "bed-a", place, f"/x/{count}", admitted)


@pytest.mark.parametrize(
    ("parts", "missing"),
    [
        (["whole"], ()),
        (["L"], ("R",)),
        (["L", "R"], ()),
        (["B"], ("T",)),
        (["1of3", "3of3"], ("2of3",)),
        (["r1c1", "r1c2", "r2c1"], ("r2c2",)),
        (["r1c1", "r1c2", "r2c1", "r2c2"], ()),
        (["r1c1"], ("r1c2 or r2c1",)),
    ],
)
def test_complete_by_the_names(parts: list[str], missing: tuple[str, ...]) -> None:
    assert standing([row(p) for p in parts]).missing == missing


def test_a_back_alone_is_no_work() -> None:
    assert standing([row("back", role=Role.BACK)]).missing == ("whole",)


@pytest.mark.parametrize(
    ("listed", "parts", "missing"),
    [
        (("L", "R"), ["whole"], ("L", "R")),
        (("#2",), ["L"], ("1 more of 2",)),
        (("r1c1", "r1c2"), ["r1c1"], ("r1c2",)),
        (("whole",), ["whole"], ()),
    ],
)
def test_the_job_list_decides_where_given(listed: tuple[str, ...], parts: list[str], missing: tuple[str, ...]) -> None:
    assert standing([row(p) for p in parts], ListedJob("SL-0412", parts=listed)).missing == missing


def test_each_light_is_complete_by_itself() -> None:
    state = standing([row("L"), row("R"), row("L", light="rake")])
    assert state.missing == ("R (rake)",)


def test_the_highest_take_counts_and_lower_ones_are_superseded() -> None:
    first, second = row("L", 1, Place.REWORK), row("L", 2)
    state = standing([first, second, row("R")])
    assert second in state.used
    assert state.superseded == (first,)
    assert not state.doubled


def test_two_claims_to_one_take_are_doubled() -> None:
    state = standing([row("L"), row("L"), row("R")])
    assert state.doubled == ("L",)
    assert wanted([row("L"), row("L"), row("R")], RULES, NOW).step is Step.DOUBLED


def test_the_same_bytes_twice_are_not_doubled() -> None:
    assert standing([row("L", sha="a" * 64), row("L", sha="a" * 64)]).doubled == ()


def test_another_picture_supersedes_nothing() -> None:
    first = row("whole", 1, Place.ARCHIVE)
    stranger = replace(row("whole", 2), findings=(Finding("job", "other_picture", Level.FAULT, None, "x"),))
    state = standing([first, stranger])
    assert state.used == (first,)
    assert state.strangers == (stranger,)
    mended = row("whole", 3)
    state = standing([first, stranger, mended])
    assert state.used == (mended,)
    assert state.strangers == ()


def test_names_that_contradict_are_said() -> None:
    assert "do not go together" in standing([row("whole"), row("L")]).contradiction
    assert "do not go together" in standing([row("1of2"), row("1of3")]).contradiction
    assert standing([row("L"), row("R")]).contradiction == ""


def test_waiting_then_said_then_given_up() -> None:
    scans = [row("L", minutes_ago=10)]
    assert wanted(scans, RULES, NOW).step is Step.WAIT
    assert wanted(scans, RULES, NOW).waits_for == "part R"
    late = NOW + timedelta(minutes=36)
    assert wanted(scans, RULES, late).step is Step.SAY_UNFINISHED
    assert wanted(scans, RULES, late, said=True).step is Step.WAIT
    assert wanted(scans, RULES, NOW + timedelta(hours=20), said=True).step is Step.GIVE_UP
    assert wanted(scans, RULES, NOW, idle=True).step is Step.GIVE_UP


def test_a_grid_waits_for_quiet_a_pair_does_not() -> None:
    grid = [row(p, minutes_ago=1) for p in ("r1c1", "r1c2")]
    assert wanted(grid, RULES, NOW).step is Step.WAIT
    assert wanted(grid, RULES, NOW + timedelta(minutes=10)).step is Step.JUDGE
    assert wanted(grid, RULES, NOW, idle=True).step is Step.JUDGE
    assert wanted([row("L"), row("R")], RULES, NOW).step is Step.JUDGE


def test_nothing_in_the_inbox_wants_nothing() -> None:
    assert wanted([row("whole", place=Place.ARCHIVE)], RULES, NOW).step is Step.NOTHING


def test_a_part_in_rework_and_its_fellow_in_the_inbox_are_a_job() -> None:
    assert wanted([row("L", place=Place.REWORK), row("R")], RULES, NOW).step is Step.JUDGE


def test_the_job_list_is_read_and_its_mistakes_are_said() -> None:
    text = (
        "job,width_mm,height_mm,medium,print_mm,due,hold,handling,up,parts\n"
        'sl-0412,420,"297,5",watercolour,840,2026-12-01,no,,,L R\n'
        "SL-0413,abc,,,,,yes,,,2x2\n"
        "SL 0412,1,1,,,,,,,\n"
        "# a remark\n"
    )
    jobs, problems = read_job_list("\ufeff" + text)
    assert jobs["sl-0412"].job == "SL-0412"
    assert (jobs["sl-0412"].height_mm, jobs["sl-0412"].hold, jobs["sl-0412"].parts) == (297.5, "", ("L", "R"))
    assert jobs["sl-0413"].parts == ("r1c1", "r1c2", "r2c1", "r2c2")
    assert jobs["sl-0413"].hold == "yes"
    assert len(problems) == 2
    assert "line 3" in problems[0]
    assert "stands twice" in problems[1]


def test_a_list_without_the_job_column_says_so() -> None:
    assert read_job_list("number;width\n1;2\n")[1][0].startswith("jobs.csv has no column 'job'")


HOUR = 60.0


def takes_of(rows: tuple[ScanRow, ...]) -> dict[str, int]:
    return {r.name.part: r.name.take for r in rows if r.name}


def test_two_takes_of_either_half_are_combined_within_their_session() -> None:
    """L and R of the evening went to rework; both were scanned again the next morning."""
    evening = [
        row("L", place=Place.REWORK, minutes_ago=11 * HOUR),
        row("R", place=Place.REWORK, minutes_ago=10.9 * HOUR),
    ]
    state = standing([*evening, row("L", 2, minutes_ago=10), row("R", 2)])
    assert takes_of(state.used) == {"L": 2, "R": 2}
    assert of_one_session(state, 4.0) == ()


def test_a_take_that_an_outcome_has_seen_never_comes_back_by_itself() -> None:
    for place in (Place.REWORK, Place.ARCHIVE):
        evening = [row("L", place=place, minutes_ago=11 * HOUR), row("R", place=place, minutes_ago=10.9 * HOUR)]
        state = standing([*evening, row("L", 2)])
        assert takes_of(state.used) == {"L": 2, "R": 1}
        assert of_one_session(state, 4.0) == ()


def test_while_all_takes_wait_the_newest_session_is_tried_first() -> None:
    """L_t2 came in the evening; in the morning R came, and L once more under a lower take."""
    evening = row("L", 2, minutes_ago=11 * HOUR)
    state = standing([evening, row("L", 1, minutes_ago=20), row("R")])
    session = of_one_session(state, 4.0)
    assert takes_of(state.used) == {"L": 2, "R": 1}
    assert takes_of(session) == {"L": 1, "R": 1}
    used = with_takes(state, [r.id for r in session])
    assert takes_of(used.used) == {"L": 1, "R": 1}
    assert takes_of(used.superseded) == {"L": 2}
    assert {r.id for r in (*used.used, *used.superseded)} == {r.id for r in (*state.used, *state.superseded)}


def test_an_older_session_never_takes_the_place_of_what_was_scanned_since() -> None:
    evening = [row("L", 1, minutes_ago=11 * HOUR), row("R", 1, minutes_ago=11 * HOUR)]
    assert of_one_session(standing([*evening, row("L", 2)]), 4.0) == ()


def test_within_the_hours_the_highest_takes_are_all_there_is() -> None:
    state = standing([row("L", 2, minutes_ago=3.9 * HOUR), row("L", 1), row("R")])
    assert of_one_session(state, 4.0) == ()
    assert len(of_one_session(state, 3.0)) == 2


def test_a_whole_has_no_session() -> None:
    assert of_one_session(standing([row("whole", 2, minutes_ago=900), row("whole")]), 4.0) == ()
