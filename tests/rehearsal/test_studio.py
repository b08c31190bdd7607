"""The studio folder is one the product itself understands."""

from datetime import date
from pathlib import Path

import pytest

from dawnproof.jobs import read_job_list
from dawnproof.naming import job_key
from dawnproof.rehearsal.scenario import BEDS, LARGE_OIL, saltmarsh_lane
from dawnproof.rehearsal.studio import found, job_list, rule_book
from dawnproof.rulebook import load_book

EVENING = saltmarsh_lane()
TODAY = date(2027, 1, 14)


def test_the_rule_book_is_valid_and_knows_the_beds(tmp_path: Path) -> None:
    found(tmp_path / "studio", EVENING, TODAY)
    book = load_book(tmp_path / "studio" / "dawnproof.toml")
    for flatbed in BEDS:
        bed = book.bed(flatbed.bed.name)
        assert (bed.width_mm, bed.length_mm, bed.seams_mm) == (
            flatbed.bed.width_mm, flatbed.bed.length_mm, flatbed.bed.seams_mm,
        )  # fmt: skip
        assert (bed.parallax, bed.lid) == (flatbed.bed.parallax, flatbed.bed.lid)


def test_the_job_list_names_every_work_once() -> None:
    listed, problems = read_job_list(job_list(EVENING, TODAY))
    assert problems == ()
    assert set(listed) == {job_key(work.job) for work in EVENING.works}
    oil = listed[job_key(LARGE_OIL.job)]
    assert (oil.width_mm, oil.height_mm) == (LARGE_OIL.width_mm, LARGE_OIL.height_mm)
    assert set(oil.parts) == {"r1c1", "r1c2", "r2c1", "r2c2"}
    assert date.fromisoformat(oil.due) > TODAY


def test_an_existing_studio_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "dawnproof.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(FileExistsError):
        found(tmp_path, EVENING, TODAY)
    assert (tmp_path / "dawnproof.toml").read_text(encoding="utf-8") == "mine"
    assert "mine" not in rule_book()
