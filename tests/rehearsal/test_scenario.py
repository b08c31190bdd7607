"""The evening holds what it promises: enough jobs, every kind of fault, parts that overlap enough, possible places."""

from collections import defaultdict

import pytest

from dawnproof.model import PartName
from dawnproof.naming import NotNamed, compile_rule, read_name
from dawnproof.rehearsal.scenario import SOUND, Arrival, Evening, Shot, saltmarsh_lane

EVENING = saltmarsh_lane()


def shots_by_part(evening: Evening) -> dict[str, list[Shot]]:
    parts: dict[str, list[Shot]] = defaultdict(list)
    for shot in evening.shots:
        if shot.work:
            parts[shot.work.job].append(shot)
    return parts


def test_at_least_twelve_jobs_and_a_third_of_them_sound() -> None:
    jobs = {expected.job for expected in EVENING.jobs}
    sound = {e.job for e in EVENING.jobs if not e.injected}
    assert len(jobs) >= 12
    assert len(sound) >= len(jobs) / 3


def test_every_fault_of_the_list_is_injected() -> None:
    named = {check for expected in EVENING.jobs for check in expected.faults}
    assert named == {
        "seam.doubling", "clipping.region", "encoding.depth_true", "resolution.ppi_x", "job.missing",
        "streaks.worst", "job.other_picture",
    }  # fmt: skip
    assert len(EVENING.unplaced) == 2
    assert any(shot.arrival is Arrival.CUT_OFF for shot in EVENING.shots)
    assert {shot.arrival for shot in EVENING.shots} == set(Arrival)


def test_only_what_is_injected_is_expected_as_a_fault() -> None:
    for expected in EVENING.jobs:
        assert bool(expected.faults) is bool(expected.injected), expected
        assert bool(expected.injected) or expected.piles >= SOUND


def test_names_are_read_as_meant() -> None:
    rule = compile_rule("{job}_{part}[_t{take}]")
    unplaced = {e.file_name for e in EVENING.unplaced}
    for shot in EVENING.shots:
        name = read_name(shot.file_name, rule)
        if isinstance(name, PartName):
            assert shot.work is None or name.job == shot.work.job
        else:
            assert isinstance(name, NotNamed)
            assert shot.file_name in unplaced


def test_the_streak_lies_at_one_place_on_one_bed_in_two_jobs() -> None:
    streaked = [s for s in EVENING.shots if s.mishap.streak]
    assert len({s.work for s in streaked}) == 2
    assert {(s.flatbed.bed.name, s.mishap.streak) for s in streaked} == {("bed-a", EVENING.streak)}


@pytest.mark.parametrize("job", sorted(shots_by_part(EVENING)))
def test_every_work_is_covered_by_its_parts_with_overlap_and_margin(job: str) -> None:
    """On each axis, the parts of one work reach from margin to margin and share 20 mm or more, 10-30 % of it."""
    for shot in shots_by_part(EVENING)[job]:
        work, bed = shot.work, shot.flatbed.bed
        assert work is not None
        for start, size, room in (
            (shot.placement.x_mm, work.width_mm, bed.width_mm),
            (shot.placement.y_mm, work.height_mm, bed.length_mm),
        ):
            fits = start >= 7 and start + size <= room - 7
            seen = min(start + size, room) - max(start, 0)
            assert fits or (start >= 7) != (start + size <= room - 7)
            assert fits or 20 <= 2 * seen - size <= 0.3 * size


def test_a_lift_of_the_evening_doubles_by_about_eight_pixels() -> None:
    for shot in EVENING.shots:
        if shot.mishap.lift:
            bed = shot.flatbed.bed
            assert bed.parallax is not None
            doubling_px = shot.mishap.lift.height_mm * bed.parallax * shot.flatbed.px_mm
            assert doubling_px == pytest.approx(8.0, abs=0.5)
