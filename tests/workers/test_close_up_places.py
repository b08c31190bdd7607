"""Which places are shown at 1:1: what matters first, nothing twice, and each where it says it is."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import cv2
import numpy as np
import pytest
from report.scanned import lifted

from dawnproof.assemble.parts import Cut, JoinPlan
from dawnproof.model import Box, Crop, Finding, Level, Measured, Needs, Reading, SeamSample, Where
from dawnproof.workers.close_up_places import MOST, TILE, Chosen, Rank, Wanted, choose, of_cuts, of_scan, tile_around

SIDES = (6000, 4500)
PPI = 254.0  # 10 px a mm
WORK = Box(300, 400, 5000, 3800)


def measured(
    dark: tuple[int, int] = (2000, 1500), light: tuple[int, int] = (4000, 3000), readings: tuple[Reading, ...] = ()
) -> Measured:
    thumb = np.full((192, 256), 120, np.uint8)
    for (x, y), value in ((dark, 5), (light, 250)):
        row, column = int(y / SIDES[1] * 192), int(x / SIDES[0] * 256)
        thumb[row - 2 : row + 3, column - 2 : column + 3] = value
    thumb[60:70, 200:210] = np.random.default_rng(1).integers(20, 240, (10, 10))
    data = bytes(cv2.imencode(".png", thumb)[1])
    return Measured("0" * 64, 1, *SIDES, 3, 16, PPI, PPI, "none", "p", "", readings, Crop(WORK, 0.0, WORK), data)


def finding(check: str, name: str, where: Where | None, level: Level = Level.FAULT) -> Finding:
    return Finding(check, name, level, Needs.ARTWORK if level is Level.FAULT else None, f"{check} {name}", "", where)


def overlap(a: Box, b: Box) -> float:
    width, height = min(a.right, b.right) - max(a.x, b.x), min(a.bottom, b.bottom) - max(a.y, b.y)
    return max(width, 0) * max(height, 0) / (TILE.width * TILE.height)


def with_rank(chosen: tuple[Chosen, ...], word: str) -> Chosen:
    (found,) = [one for one in chosen if any(word in words for words in one.words)]
    return found


def test_darkest_lightest_and_finest_lie_where_they_are() -> None:
    chosen = choose(of_scan(0, "whole", measured(), ()), [SIDES])
    for word, (x, y) in (("darkest", (2000, 1500)), ("lightest", (4000, 3000)), ("finest", (4800, 1520))):
        tile = with_rank(chosen, word).tile
        assert abs(tile.x + tile.width // 2 - x) < 150
        assert abs(tile.y + tile.height // 2 - y) < 150


def test_doubling_and_lift_at_one_place_are_one_picture_that_names_both() -> None:
    profile = tuple(SeamSample(float(y), 6.0 if y == 210 else 2.0, None, 1.0) for y in range(100, 300, 10))
    where = Where(299.0, 100.0, 2.0, 200.0, profile)
    found = (finding("seam", "doubling", where), finding("seam", "lift", where, Level.NOTE))
    chosen = choose(of_scan(0, "R", measured(readings=(lifted(),)), found), [SIDES])
    (seam,) = [one for one in chosen if any("doubling" in words for words in one.words)]
    assert len(seam.words) == 2
    assert len(seam.marks) == 1
    middle_mm = (seam.tile.y + seam.tile.height / 2) / 10
    assert abs(middle_mm - 210) < 2  # where it is worst, not in the middle of the stretch
    assert not any("the stitch" in words for one in chosen for words in one.words)


@pytest.mark.parametrize("seed", range(20))
def test_no_place_is_shown_twice(seed: int) -> None:
    rng = np.random.default_rng(seed)
    found = tuple(
        finding("clipping", "region", Where(*rng.uniform(30, 400, 2), *rng.uniform(0.5, 60, 2)),
                (Level.FAULT, Level.NOTE)[int(rng.integers(2))])
        for _ in range(int(rng.integers(1, 30)))
    )  # fmt: skip
    at = (int(rng.integers(500, 5000)), int(rng.integers(600, 4000)))
    chosen = choose(of_scan(0, "whole", measured(at, at), found), [SIDES])
    assert 1 <= len(chosen) <= MOST
    assert all(overlap(a.tile, b.tile) <= 0.5 for a, b in combinations(chosen, 2))
    named = sum(len(one.words) for one in chosen)
    assert named >= min(len(found), MOST)
    for one in chosen:
        assert Box(0, 0, *SIDES).right >= one.tile.right
        assert one.tile.x >= 0


def test_a_job_of_many_parts_still_shows_its_faults_and_cuts_first() -> None:
    where = Where(100.0, 100.0, 5.0, 5.0)
    wanted = [w for part in range(6) for w in of_scan(part, f"r1c{part}", measured(), ())]
    wanted += of_scan(6, "r1c7", measured(), (finding("clipping", "region", where),))
    plan = JoinPlan.__new__(JoinPlan)
    cuts = tuple(Cut(f"{i}", f"{i + 1}", i % 2 == 0, 0, np.full(4000, 900.0 * (i + 1), np.float32)) for i in range(4))
    object.__setattr__(plan, "cuts", cuts)
    wanted += of_cuts(7, plan, Box(10, 20, 5900, 4400), (5900, 4400))
    chosen = choose(wanted, [SIDES] * 7 + [(5900, 4400)], most=5)
    assert "clipping" in chosen[0].words[0]
    assert [one.source for one in chosen[1:]] == [7] * 4
    everything = choose(wanted, [SIDES] * 7 + [(5900, 4400)], most=40)
    tones = [words for one in everything for words in one.words if "darkest" in words]
    assert len(tones) == 1  # of the whole work, not of each part


def test_a_cut_is_marked_along_its_own_way() -> None:
    plan = JoinPlan.__new__(JoinPlan)
    upright = Cut("L", "R", True, 0, np.full(4000, 2000.0, np.float32))
    level = Cut("T", "B", False, 0, np.full(4000, 1000.0, np.float32))
    object.__setattr__(plan, "cuts", (upright, level))
    down, across = of_cuts(0, plan, Box(100, 50, 5000, 4000), (5000, 4000))
    assert down.at.height > down.at.width
    assert abs(down.at.x + down.at.width // 2 - 1900) <= 1
    assert across.at.width > across.at.height
    assert abs(across.at.y + across.at.height // 2 - 950) <= 1
    assert [one.plain_too for one in choose([down, across], [(5000, 4000)])] == [True, True]


def test_what_covers_the_whole_scan_or_cannot_be_seen_has_no_close_up() -> None:
    everywhere = finding("streaks", "worst", Where(0.0, 0.0, 600.0, 450.0))
    edge = finding("crop", "margin", Where(30.0, 40.0, 500.0, 380.0))
    lift = finding("seam", "lift", Where(300.0, 10.0, 1.0, 400.0), Level.UNDECIDED)
    nowhere = finding("resolution", "ppi_x", None)
    wanted = of_scan(0, "whole", measured(), (everywhere, edge, lift, nowhere))
    assert {one.rank for one in wanted} == {Rank.DARKEST, Rank.LIGHTEST, Rank.FINEST}


def test_a_streak_down_the_whole_scan_keeps_its_close_up() -> None:
    (wanted, *_) = of_scan(0, "whole", measured(), (finding("streaks", "worst", Where(33.0, 0.0, 0.5, 450.0)),))
    assert wanted.rank is Rank.FAULT
    assert wanted.at.height < TILE.height


@pytest.mark.parametrize("sides", [(100, 80), (600, 300), (560, 380), (6000, 4500)])
def test_a_tile_lies_on_its_picture_however_small(sides: tuple[int, int]) -> None:
    for at in (Box(0, 0, 2, 2), Box(sides[0] - 2, sides[1] - 2, 2, 2)):
        tile = tile_around(Wanted(0, Rank.NOTE, "x", at), sides)
        assert tile.x >= 0
        assert tile.y >= 0
        assert tile.right <= sides[0]
        assert tile.bottom <= sides[1]


def test_tones_stay_on_the_work_where_it_is_large_enough() -> None:
    at = Box(WORK.x + 3, WORK.y + 3, 2, 2)
    tile = tile_around(Wanted(0, Rank.DARKEST, "x", at, within=WORK), SIDES)
    assert (tile.x, tile.y) == (WORK.x, WORK.y)


def test_a_scan_without_a_small_picture_has_no_tones() -> None:
    assert of_scan(0, "whole", replace(measured(), thumb=b""), ()) == []


def test_a_small_picture_is_shown_once_and_named_for_all() -> None:
    small = (500, 300)
    wanted = [
        Wanted(0, rank, f"whole: {rank.name}", Box(x, 10, 2, 2)) for rank, x in ((Rank.STITCH, 250), (Rank.DARKEST, 2))
    ]
    (only,) = choose(wanted, [small])
    assert only.words == ("whole: STITCH", "whole: DARKEST")
