"""Jobs are judged and filed; one that cannot be holds up no other, and nothing is begun without room."""

from __future__ import annotations

from collections import Counter, namedtuple
from pathlib import Path
from typing import Any

import pytest
from faults import evening

from dawnproof.pipeline.outcome import ask_of
from dawnproof.service import desk
from dawnproof.storage.studio import Studio

GB = 10**9
Usage = namedtuple("Usage", "total used free")


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    return evening.studio_at(tmp_path / "studio")


def test_a_job_that_cannot_be_judged_holds_up_no_other(studio: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error of the program at one job: said once, with its place; its scans stay, the rest is filed."""
    entered = Counter(evening.scan(studio.inbox / f"SL-000{n}_whole.tif", n) for n in (1, 2))

    def failing(case: Any, *given: Any) -> Any:
        if case.row.job == "SL-0001":
            raise TypeError("no such thing")
        return ask_of(case, *given)

    with monkeypatch.context() as patch:
        patch.setattr(desk, "ask_of", failing)
        heard = evening.run_until_idle(studio.root)
    assert heard.said("SL-0002 archived")
    assert heard.said("SL-0001: could not be judged (TypeError: no such thing); its scans stay where they are")
    assert (studio.inbox / "SL-0001_whole.tif").exists()
    errors = [e.text for e in heard.events if e.kind == "error"]
    assert len(errors) == 1
    assert "Traceback" in errors[0]
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
    assert (studio.archive / "SL-0001").is_dir()


def test_a_child_that_fails_at_one_job_holds_up_no_other(studio: Studio) -> None:
    entered = Counter(evening.scan(studio.inbox / f"SL-000{n}_whole.tif", n) for n in (1, 2))

    def failing(what: str, subject: str) -> None:
        if what == "filing" and subject == "SL-0001":
            raise ValueError("a matrix without an inverse")

    heard = evening.run_until_idle(studio.root, evening.InlinePool(failing))
    assert heard.said("SL-0002 archived")
    assert heard.said("SL-0001: could not be judged (ValueError")
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)


@pytest.mark.parametrize(("free_gb", "filed"), [(10.5, True), (9.9, False)])
def test_nothing_is_begun_into_the_reserve(
    free_gb: float, filed: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio = evening.studio_at(tmp_path / "reserved")
    book = studio.root / "dawnproof.toml"
    book.write_text(book.read_text().replace("reserve_gb = 0.0", "reserve_gb = 10.0"))
    evening.scan(studio.inbox / "SL-0001_whole.tif", 1)
    with monkeypatch.context() as patch:
        patch.setattr("shutil.disk_usage", lambda folder: Usage(0, 0, free_gb * GB))
        heard = evening.run_until_idle(studio.root)
    assert heard.said("SL-0001 archived") == filed
    assert heard.said("10.0 GB are needed with the reserve: make room") == (not filed)
    assert (studio.inbox / "SL-0001_whole.tif").exists() == (not filed)


def test_no_more_than_a_few_at_a_time(studio: Studio) -> None:
    """Each job under way has its folders on the archive's disk."""
    most = 0

    def counting(what: str, subject: str) -> None:
        nonlocal most
        most = max(most, len(list(studio.archive.glob(".dawnproof-staging-*"))))

    for number in range(desk.MOST_AT_ONCE + 4):
        evening.scan(studio.inbox / f"SL-{number:04d}_whole.tif", number)
    evening.run_until_idle(studio.root, evening.InlinePool(counting))
    assert 1 < most <= desk.MOST_AT_ONCE
