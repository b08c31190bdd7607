from dataclasses import replace

from report.nights import jobs

from dawnproof.model import JobView
from dawnproof.report.layout import PartState, layout

JOBS = {view.row.job: view for view in jobs()}


def drawn(view: JobView) -> list[list[tuple[str, str]]]:
    return [[(cell.label, cell.state.value) for cell in row] for row in layout(view)]


def test_halves_lie_side_by_side_and_the_missing_one_keeps_its_place() -> None:
    assert drawn(JOBS["SL-C403"]) == [[("L", "there"), ("R", "there")]]
    assert drawn(JOBS["SL-0411"]) == [[("L", "there"), ("R", "missing")]]


def test_a_grid_has_rows_and_holes() -> None:
    view = JOBS["SL-C404"]
    short = replace(view, scans=view.scans[:3], missing=("r2c2",))
    assert drawn(short) == [[("r1c1", "there"), ("r1c2", "there")], [("r2c1", "there"), ("r2c2", "missing")]]


def test_the_state_of_a_part() -> None:
    assert drawn(JOBS["SL-C405"]) == [[("whole", "fault")]]
    assert drawn(JOBS["SL-0416"]) == [[("whole", "look")]]


def test_parts_without_a_place_stand_in_a_row() -> None:
    assert drawn(replace(JOBS["SL-0411"], missing=("2 more of 3",)))[0][-1] == ("2 more of 3", "missing")
    assert layout(replace(JOBS["SL-0411"], scans=(), missing=()))[0][0].state is PartState.MISSING


def test_halves_one_above_the_other() -> None:
    assert [len(row) for row in layout(replace(JOBS["SL-0411"], scans=(), missing=("T", "B")))] == [1, 1]
