"""Files from their first sight to their row: what becomes of those at which a child died, and of those that fail."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from faults import evening

from dawnproof.errors import ScanError, WorkerDied
from dawnproof.model import Place
from dawnproof.storage.studio import Studio


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    return evening.studio_at(tmp_path / "studio")


def run(studio: Studio, error: Exception, times: int) -> tuple[evening.Heard, Counter[str]]:
    """An evening in which measuring SL-0001 fails so many times."""
    asked: Counter[str] = Counter()

    def failing(what: str, subject: str) -> None:
        if what == "measuring":
            asked[subject] += 1
            if subject == "SL-0001_whole.tif" and asked[subject] <= times:
                raise error

    return evening.run_until_idle(studio.root, evening.InlinePool(failing)), asked


@pytest.mark.parametrize(
    ("error", "times", "asked", "place"),
    [
        (WorkerDied("it ended by itself"), 1, 2, Place.ARCHIVE),  # its neighbour may have been the cause
        (WorkerDied("it ended by itself"), 2, 2, Place.UNPLACED),
        (WorkerDied("it needed too much memory"), 9, 1, Place.UNPLACED),  # it would again
        (ScanError("32 bits a sample are not measured"), 9, 1, Place.UNPLACED),
        (ZeroDivisionError("in the program itself"), 9, 1, Place.UNPLACED),
    ],
    ids=["died once", "died twice", "too large", "refused", "program"],
)
def test_a_file_at_which_measuring_fails(
    error: Exception, times: int, asked: int, place: Place, studio: Studio
) -> None:
    entered = Counter(evening.scan(studio.inbox / f"SL-000{n}_whole.tif", n) for n in (1, 2))
    heard, tried = run(studio, error, times)
    assert tried["SL-0001_whole.tif"] == asked
    assert heard.said("SL-0002 archived"), "its neighbour goes on"
    places = {row.file: row.place for row in evening.homes(studio)}
    assert places == {"SL-0001_whole.tif": place, "SL-0002_whole.tif": Place.ARCHIVE}
    evening.check_census(studio, entered)
    if place is Place.UNPLACED:
        assert str(error) in (studio.unplaced / "REASONS.txt").read_text()


def test_one_taken_away_while_it_settles_is_forgotten(studio: Studio) -> None:
    with evening.Living(studio.root) as daemon:
        path = studio.inbox / "SL-0001_whole.tif"
        path.write_bytes(b"II*\0")
        daemon.until(lambda: daemon.service._arrivals.left(), "its first sight")
        path.unlink()
        daemon.until(lambda: not daemon.service._arrivals.left(), "forgetting")
    assert evening.homes(studio) == ()


def test_a_job_is_not_judged_while_a_part_of_it_is_measured(studio: Studio) -> None:
    """Its whole would be filed without the take that was being looked at."""
    seen: list[frozenset[str]] = []
    evening.scan(studio.inbox / "SL-0001_whole.tif", 1)

    def looking(what: str, subject: str) -> None:
        if what == "measuring":
            seen.append(daemon.service._arrivals.arriving_jobs())

    daemon = evening.Living(studio.root, evening.InlinePool(looking))
    with daemon:
        daemon.until_filed("SL-0001")
    assert seen == [frozenset({"SL-0001"})]
    assert daemon.service._arrivals.arriving_jobs() == frozenset()


def test_what_is_left_alone_and_what_stays_do_not_keep_the_evening_open(studio: Studio) -> None:
    (studio.inbox / "notes.log").write_text("of the scanner")
    (studio.inbox / ".hidden.tif").write_bytes(b"")
    (studio.inbox / "link.tif").symlink_to(studio.inbox / "notes.log")
    heard = evening.run_until_idle(studio.root)
    assert {e.text.split(" stays")[0] for e in heard.events if e.kind == "stays"} >= {"link.tif"}
    assert sorted(p.name for p in studio.inbox.iterdir() if not p.is_dir()) == [".hidden.tif", "link.tif", "notes.log"]
