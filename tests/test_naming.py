"""Names as people and computers write them, and what was probably meant."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnproof.errors import RuleBookError
from dawnproof.model import PartName, Role, Sides
from dawnproof.naming import NotNamed, compile_rule, outer_sides, read_name, spelled

RULE = compile_rule("{job}_{part}[_t{take}]")


@pytest.mark.parametrize(
    ("name", "job", "part", "take"),
    [
        ("SL-0412_L.tif", "SL-0412", "L", 1),
        ("sl-0412_l.TIFF", "SL-0412", "L", 1),
        ("SL 0412 R.tif", "SL-0412", "R", 1),
        ("SL-0412-left.tif", "SL-0412", "L", 1),
        ("SL-0412_R (2).tif", "SL-0412", "R", 1),
        ("SL-0412_R-2.tif", "SL-0412", "R", 1),
        ("SL-0412_R_002.tif", "SL-0412", "R", 1),
        ("SL-0412_whole_t3.tif", "SL-0412", "whole", 3),
        ("SL-0412_r1c02_t2 (1).tif", "SL-0412", "r1c2", 2),
        ("SL-0412_2of4.tif", "SL-0412", "2of4", 1),
        ("SL-0412_2 of 4.tif", "SL-0412", "2of4", 1),
    ],
)
def test_parts_are_read(name: str, job: str, part: str, take: int) -> None:
    read = read_name(name, RULE)
    assert isinstance(read, PartName)
    assert (read.job, read.part, read.take, read.role) == (job, part, take, Role.WORK)


@pytest.mark.parametrize("role", [r for r in Role if r is not Role.WORK])
def test_roles_are_read(role: Role) -> None:
    read = read_name(f"SL-0412_{role.value}.tif", RULE)
    assert isinstance(read, PartName)
    assert read.role is role


@pytest.mark.parametrize(
    ("name", "proposal"),
    [
        ("SL0412 left side final.tif", "SL-0412_L.tif"),
        ("SL-0412.tif", "SL-0412_whole.tif"),
        ("SL-0412_Lft.tif", "SL-0412_L.tif"),
        ("holiday picture.tif", ""),
        ("SL-0412_L.png", ""),
        ("../../etc/passwd_L", ""),
    ],
)
def test_near_misses_are_proposed(name: str, proposal: str) -> None:
    read = read_name(name, RULE, ["SL-0412"])
    assert isinstance(read, NotNamed)
    assert read.proposal == proposal
    assert read.why


def test_a_known_job_keeps_its_spelling() -> None:
    read = read_name("m 7_l.tif", RULE, ["m-7"])
    assert isinstance(read, PartName)
    assert read.job == "m-7"


def test_light_and_bed_may_be_in_the_name() -> None:
    rule = compile_rule("{bed}+{job}[_{light}]_{part}")
    read = read_name("bed-b+SL-0412_rake_L.tif", rule)
    assert isinstance(read, PartName)
    assert (read.bed, read.light, read.part) == ("bed-b", "rake", "L")


@pytest.mark.parametrize("pattern", ["{part}", "{job}_{foo}", "{job}[_{part}", "{job}]_[{part}", "{job}{job}"])
def test_bad_patterns_are_refused(pattern: str) -> None:
    with pytest.raises(RuleBookError, match=r"naming\.pattern"):
        compile_rule(pattern)


@pytest.mark.parametrize(
    ("part", "grid", "sides"),
    [
        ("whole", None, Sides()),
        ("L", None, Sides(right=False)),
        ("B", None, Sides(top=False)),
        ("r1c1", (2, 2), Sides(right=False, bottom=False)),
        ("r2c2", (2, 2), Sides(left=False, top=False)),
        ("r2c2", None, Sides(False, False, False, False)),
        ("1of3", None, Sides(False, False, False, False)),
    ],
)
def test_outer_sides(part: str, grid: tuple[int, int] | None, sides: Sides) -> None:
    assert outer_sides(part, grid) == sides


@given(st.text(max_size=60))
def test_any_name_is_answered(name: str) -> None:
    assert isinstance(read_name(name, RULE, ["SL-0412"]), PartName | NotNamed)


@given(job=st.from_regex(r"[A-Z]{1,3}-[0-9]{2,5}", fullmatch=True), take=st.integers(1, 99),
       part=st.sampled_from(["whole", "L", "R", "T", "B", "r2c3", "3of4"]))  # fmt: skip
def test_what_is_written_by_the_rule_is_read_back(job: str, take: int, part: str) -> None:
    read = read_name(f"{job}_{part}_t{take}.tif", RULE)
    assert isinstance(read, PartName)
    assert (read.job, read.part, read.take) == (job, part, take)


@pytest.mark.parametrize(
    ("pattern", "take", "light", "name"),
    [
        ("{job}_{part}[_t{take}]", 1, "", "SL-0412_L.tif"),
        ("{job}_{part}[_t{take}]", 2, "", "SL-0412_L_t2.tif"),
        ("{job}[_{part}[_t{take}]]", 3, "", "SL-0412_L_t3.tif"),
        ("{job}_{part}[_{light}]", 2, "left", "SL-0412_L_left.tif"),
        ("{job} {part}", 2, "", "SL-0412 L.tif"),
    ],
)
def test_a_name_that_is_proposed_is_read_as_that_part_and_take(pattern: str, take: int, light: str, name: str) -> None:
    assert spelled(pattern, "SL-0412", "L", take, light) == name
    read = read_name(name, compile_rule(pattern))
    assert isinstance(read, PartName)
    assert (read.job, read.part) == ("SL-0412", "L")
    assert read.take == (take if "{take}" in pattern else 1)
