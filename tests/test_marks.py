"""Marks that recur: compared at their places on the bed, and only where these are known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import Bed, Mark, Measured, PartName, Place, ScanRow
from dawnproof.pipeline.marks import recurring_marks, recurring_scans

BEDS = (Bed("bed-a", 254.0, 127.0),)  # 4000 x 2000 px at 400 ppi
STREAK = Mark("streak", 33.0, None, 0.1, -1.5)
DUST = Mark("spot", 70.0, 40.0, 0.4, -12.0)


def scan(
    job: int, *marks: Mark, width: int = 4000, height: int = 2000, left_mm: float | None = None, part: str = "whole"
) -> ScanRow:
    sha = f"{job:064x}"
    measured = Measured(
        sha, 10, width, height, 3, 16, 400.0, 400.0, "none", "", "", (), None, x_position_mm=left_mm, marks=marks
    )
    name, when = PartName(f"SL-{job:04d}", part), f"2026-11-24T{8 + job % 10:02d}:00:00+00:00"
    return ScanRow(job, sha, 10, f"{job}.tif", name, "bed-a", Place.ARCHIVE, f"/a/{job}.tif", when, "", measured, ())


def at(mark: Mark, x_mm: float, y_mm: float | None = None) -> Mark:
    return Mark(mark.kind, x_mm, y_mm, mark.size_mm, mark.strength)


def test_two_jobs_running_share_a_streak_and_a_spot() -> None:
    found = recurring_marks([scan(1, STREAK, DUST), scan(2, at(STREAK, 33.1), at(DUST, 70.2, 40.1))], BEDS)
    assert [(m.bed, m.kind, m.jobs) for m in found] == [
        ("bed-a", "streak", ("SL-0001", "SL-0002")),
        ("bed-a", "spot", ("SL-0001", "SL-0002")),
    ]
    streak, spot = found
    assert streak.x_mm == pytest.approx(33.05, abs=0.06)
    assert streak.y_mm is None
    assert (spot.x_mm, spot.y_mm) == pytest.approx((70.1, 40.05), abs=0.06)


def test_two_scans_of_one_job_are_no_witness_for_each_other() -> None:
    left, right = scan(1, STREAK, part="L"), scan(1, STREAK, part="R")
    assert recurring_marks([left, right], BEDS) == ()


def test_a_narrow_scan_says_nothing_unless_it_knows_its_place() -> None:
    """The same column of two narrow scans is not the same place of the bed; the same place need not be the same
    column."""
    assert recurring_marks([scan(1, STREAK, width=1500), scan(2, STREAK, width=1500)], BEDS) == ()
    assert recurring_marks([scan(1, STREAK), scan(2, STREAK, width=1500)], BEDS) == ()
    (found,) = recurring_marks([scan(1, STREAK), scan(2, at(STREAK, 13.0), width=1500, left_mm=20.0)], BEDS)
    assert found.x_mm == pytest.approx(33.0, abs=0.1)
    assert recurring_marks([scan(1, STREAK), scan(2, at(STREAK, 33.0), width=1500, left_mm=20.0)], BEDS) == ()


def test_a_short_scan_tells_streaks_but_no_spots() -> None:
    found = recurring_marks([scan(1, STREAK, DUST, height=900), scan(2, STREAK, DUST, height=900)], BEDS)
    assert [m.kind for m in found] == ["streak"]


@pytest.mark.parametrize(
    "other",
    [at(STREAK, 33.8), Mark("streak", 33.0, None, 0.1, 1.5), at(DUST, 33.0, 1.0)],
    ids=["place", "sign", "kind"],
)
def test_what_differs_is_not_the_same(other: Mark) -> None:
    assert recurring_marks([scan(1, STREAK), scan(2, other)], BEDS) == ()


def test_a_mark_that_was_gone_for_long_is_two_marks() -> None:
    between = [scan(job) for job in range(2, 5)]
    assert recurring_marks([scan(1, DUST), *between, scan(5, DUST)], BEDS) == ()
    assert len(recurring_marks([scan(1, DUST), scan(2), scan(3, DUST)], BEDS)) == 1


def test_where_marks_are_many_three_jobs_must_agree() -> None:
    """Sixty specks a sheet, thrown anywhere, lie alike by chance now and then: two sheets are not enough."""
    rng = np.random.default_rng(4)
    nights = 0
    for _ in range(40):
        jobs = [
            scan(
                job, *(Mark("spot", float(x), float(y), 0.3, -8.0) for x, y in rng.uniform((0, 0), (254, 127), (60, 2)))
            )
            for job in range(8)
        ]
        nights += bool(recurring_marks(jobs, BEDS))
        with_dust = [scan(k, DUST, *(row.measured.marks[1:] if row.measured else ())) for k, row in enumerate(jobs[:3])]
        assert any(m.x_mm == pytest.approx(70.0, abs=0.4) for m in recurring_marks(with_dust, BEDS))
    assert nights <= 4


def test_softness_wants_three_jobs() -> None:
    soft = Mark("soft", 200.0, 100.0, 20.0, 0.5)
    assert recurring_marks([scan(1, soft), scan(2, soft)], BEDS) == ()
    assert len(recurring_marks([scan(1, soft), scan(2, soft), scan(3, soft)], BEDS)) == 1


def test_a_streak_becomes_certain_only_by_the_strongest_one(tmp_path: Path) -> None:
    ledger = Ledger.open(tmp_path / "ledger.sqlite3")
    ledger.add_scan(b"1.tif", scan(1, STREAK))
    weaker = Mark("streak", 33.0, None, 0.1, -0.6)
    strong = Mark("streak", 90.0, None, 0.1, 3.0)
    assert recurring_scans(ledger, [scan(2, STREAK)], BEDS) == {2}
    assert recurring_scans(ledger, [scan(3, strong, weaker)], BEDS) == frozenset()
    assert recurring_scans(ledger, [scan(1, STREAK)], BEDS) == frozenset()
    assert recurring_scans(ledger, [scan(4, STREAK, width=1500)], BEDS) == frozenset()
