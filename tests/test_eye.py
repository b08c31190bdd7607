"""The bench of the eye counts rightly, holds every aim, and runs on any folder of pictures."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import tifffile
from bench.rates import Group, Row, Trial, counted, scan_of, wilson
from scans import bed_of, frame_of
from scipy.stats import binomtest

EYE = Path(__file__).parent / "bench" / "eye.py"


def _run(*words: str | Path) -> str:
    said = subprocess.run([sys.executable, EYE, *words], capture_output=True, text=True, timeout=120)
    assert said.returncode == 0, said.stderr
    return said.stdout


@pytest.mark.parametrize(("good", "tried"), [(0, 7), (1, 20), (60, 62), (600, 600)])
def test_the_interval_is_wilsons(good: int, tried: int) -> None:
    known = binomtest(good, tried).proportion_ci(0.95, method="wilson")
    assert wilson(good, tried) == pytest.approx((100 * known.low, 100 * known.high), abs=0.01)


def test_an_aim_is_met_by_what_was_counted_and_never_by_nothing() -> None:
    row = Row("mid", "found", 97.0)
    assert not row.met
    for good in [True] * 97 + [False] * 3:
        row.count(good, "seed 5")
    assert row.met
    assert row.misses == ["seed 5"] * 3
    row.count(False, "seed 6")
    assert not row.met


def test_the_scan_of_a_miss_is_kept_and_no_other(tmp_path: Path) -> None:
    pixels = np.full((40, 30, 3), 900, np.uint16)
    scan = scan_of(pixels, frame_of(pixels, 400.0, bed_of(pixels, 400.0)))
    trials = [Trial("found", seed != 2, f"seed {seed}", scan) for seed in range(4)]
    group = Group("streaks", "in columns", lambda *_: iter(trials), {"found": 98.0})
    (row,) = counted(group, trials, tmp_path)
    assert (row.good, row.tried) == (3, 4)
    (kept,) = tmp_path.iterdir()
    assert kept.name == "streaks_found_seed_2.tif"
    assert np.array_equal(tifffile.imread(kept), pixels)


def test_every_check_of_the_table_is_a_group_with_its_aims() -> None:
    from bench.eye import GROUPS

    assert {name: sorted(group.aims.values()) for name, group in GROUPS.items() if group.aims} == {
        "jobs": [99],
        "flat": [99.5],
        "long": [99.5],
        "big": [95, 97, 99.5],
        "mid": [97],
        "small": [50],
        "part": [97, 97],
        "named": [99] * 8,
        "lift": [100],
        "depth": [100, 100],
        "enlarged": [97, 98],
        "streaks": [98, 99],
        "focus": [90, 97, 97],
        "crop": [100] * 6,
        "clipping": [100],
    }


def test_the_table_of_a_folder_is_the_same_for_the_same_seeds(test_data: Path) -> None:
    folders = (test_data / "pictures", test_data / "textures")
    said = _run(*folders, "--only", "depth,mid", "--seeds", "3:5")
    assert re.search(r"given: \d+ pictures, 3 textures, seeds 3:5", said)
    assert re.search(r"depth: .*\n  exact in the provable cases +100 % +\d/\d +[\d.]+ % +\[ *[\d.]+, *100.0\]", said)
    assert re.search(r"mid: .*\n  found +97 % +\d/2 ", said)
    assert re.search(r"aims not met: \d of 3\n", said)
    again = _run(*folders, "--only", "depth", "--seeds", "3:5")
    assert said.split("\nmid: ")[0] == again.split("\n\naims")[0]


@pytest.mark.parametrize(("folder", "words"), [("away", "no such folder: "), ("empty", "no picture to make works of")])
def test_a_folder_without_pictures_is_refused_in_words(tmp_path: Path, folder: str, words: str) -> None:
    (tmp_path / "empty").mkdir()
    said = subprocess.run([sys.executable, EYE, tmp_path / folder], capture_output=True, text=True, timeout=120)
    assert (said.returncode, said.stdout) == (2, "")
    assert words in said.stderr.splitlines()[-1]
