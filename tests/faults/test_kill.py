"""Row 1 of the fault table: killed at any step. At the instant of death every scan stands somewhere; after a restart
each has exactly one home, bags are valid, nothing half-made is left, and another restart changes nothing.

By default 20 kills of the evening with a job of two parts and a few of each other life of a job; `--sweep` makes every
one. The number is printed.
"""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from faults import evening
from faults.killing import CALLS, Point, Stage, points_of, sampled, stage

from dawnproof.model import JobState, Outcome, Place
from dawnproof.storage.studio import Studio

Life = Callable[[Studio], tuple[list[str], str]]


@pytest.fixture(scope="module")
def player(remembered: Path) -> Iterator[Stage]:
    with stage(remembered) as made:
        yield made


def two_parts(studio: Studio) -> tuple[list[str], str]:
    """A job in two parts arrives, and a note of a person's."""
    digests = [
        evening.scan(studio.inbox / "SL-0412_L.tif", 1, "L"),
        evening.scan(studio.inbox / "SL-0412_R.tif", 1, "R"),
    ]
    return digests, "watch"


def set_aside(studio: Studio) -> tuple[list[str], str]:
    """A file without a name, a trial, a white reference."""
    names = ("scan17.tif", "SL-0500_trial.tif", "SL-0500_ref.tif")
    return [evening.scan(studio.inbox / name, 20 + i) for i, name in enumerate(names)], "watch"


def made_good(studio: Studio) -> tuple[list[str], str]:
    """A part in rework is scanned again."""
    first = [evening.scan(studio.inbox / "SL-0413_L.tif", 2, "L", ppi=100.0),
             evening.scan(studio.inbox / "SL-0413_R.tif", 2, "R")]  # fmt: skip
    evening.run_until_idle(studio.root)
    assert outcome_of(studio, "SL-0413") is Outcome.REWORK
    return [*first, evening.scan(studio.inbox / "SL-0413_L_t2.tif", 2, "L")], "watch"


def new_version(studio: Studio) -> tuple[list[str], str]:
    """A part of an archived job is scanned again: a whole new bag."""
    first = [evening.scan(studio.inbox / f"SL-0414_{p}.tif", 3, p) for p in ("L", "R")]
    evening.run_until_idle(studio.root)
    assert outcome_of(studio, "SL-0414") is Outcome.ARCHIVE
    again = studio.inbox / "SL-0414_L_t2.tif"
    return [*first, evening.scan(again, 3, "L", grain=1)], "watch"


def new_version_fails(studio: Studio) -> tuple[list[str], str]:
    """A part of an archived job is scanned again, badly: the last bag stays."""
    first = [evening.scan(studio.inbox / f"SL-0418_{p}.tif", 7, p) for p in ("L", "R")]
    evening.run_until_idle(studio.root)
    return [*first, evening.scan(studio.inbox / "SL-0418_L_t2.tif", 7, "L", ppi=100.0)], "watch"


def placed(studio: Studio) -> tuple[list[str], str]:
    """A person gives an unplaced scan its name."""
    first = [evening.scan(studio.inbox / "scan17.tif", 4)]
    evening.run_until_idle(studio.root)
    return first, "place scan17.tif SL-0415_whole.tif"


def accepted(studio: Studio) -> tuple[list[str], str]:
    """A person accepts a job in rework."""
    first = [evening.scan(studio.inbox / "SL-0416_whole.tif", 5, ppi=100.0)]
    evening.run_until_idle(studio.root)
    assert outcome_of(studio, "SL-0416") is Outcome.REWORK
    return first, "accept SL-0416"


def refused(studio: Studio) -> tuple[list[str], str]:
    """A person refuses an archived job."""
    first = [evening.scan(studio.inbox / "SL-0417_whole.tif", 6)]
    evening.run_until_idle(studio.root)
    assert outcome_of(studio, "SL-0417") is Outcome.ARCHIVE
    return first, "refuse SL-0417"


def outcome_of(studio: Studio, job: str) -> Outcome | None:
    state, outcome, _ = evening.state_of(studio)["jobs"][job]
    assert isinstance(state, JobState)
    return outcome if isinstance(outcome, Outcome) else None


@pytest.mark.parametrize(
    ("life", "count"),
    [
        (two_parts, 20),
        (set_aside, 3),
        (made_good, 3),
        (new_version, 4),
        (new_version_fails, 2),
        (placed, 3),
        (accepted, 3),
        (refused, 2),
    ],
    ids=lambda v: v.__name__ if callable(v) else "",
)
def test_killed_at_any_call(life: Life, count: int, tmp_path: Path, player: Stage, sweep: bool) -> None:
    studio, before = evening.studio_at(tmp_path / "studio"), tmp_path / "before"
    digests, act = life(studio)
    entered = Counter(digests)
    shutil.copytree(studio.root, before, symlinks=True)
    log = tmp_path / "calls.log"
    assert player.play(studio.root, act, log, "-e", f"trace={','.join(CALLS)}") == 0, (
        "the evening plays without a tracer's hand"
    )
    points = points_of(log)
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
    wanted = ends(studio)
    assert life is not new_version or (studio.archive / "SL-0414.v2").is_dir()
    assert life is not new_version_fails or (studio.rework / "SL-0418").is_dir()
    killed = 0
    chosen = points if sweep else sampled(points, count, offset=len(life.__name__))
    for point in chosen:
        killed += killed_at(point, studio, before, act, entered, wanted, player)
    print(f"{life.__name__}: killed at {killed} of {len(chosen)} calls chosen among {len(points)}")
    assert killed >= 0.8 * len(chosen)


def killed_at(
    point: Point, studio: Studio, before: Path, act: str, entered: Counter[str], wanted: Any, player: Stage
) -> bool:
    shutil.rmtree(studio.root)
    shutil.copytree(before, studio.root, symlinks=True)
    inject = f"inject={point.call}:signal=KILL:when={point.number}"
    status = player.play(studio.root, act, Path("/dev/null"), "-e", f"trace={point.call}", "-e", inject)
    there = evening.everywhere(studio)
    lost = [sha256 for sha256 in entered if not there[sha256]]
    assert not lost, f"{point}: {len(lost)} scans are nowhere at the instant of death"
    try:
        evening.run_until_idle(studio.root)
        evening.check_census(studio, entered)
        if act == "watch":
            assert ends(studio) == wanted, "the jobs end as if nothing had happened"
        settled = evening.state_of(studio)
        evening.run_until_idle(studio.root)
        assert evening.state_of(studio) == settled, "a second restart changes nothing"
    except BaseException as error:
        error.add_note(f"after {point}")
        raise
    return status != 0


def ends(studio: Studio) -> tuple[Any, Counter[Place]]:
    """How jobs ended and where their scans live, names apart."""
    return evening.state_of(studio)["jobs"], Counter(row.place for row in evening.homes(studio))
