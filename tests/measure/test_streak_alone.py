"""Streaks in works that fill their frame: found where they are; lines, edges and grids are none."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt
import pytest
import scans
import surfaces

from dawnproof.measure.streak_alone import lone_lines, lone_streaks
from dawnproof.measure.streak_edges import EdgeSums, edge_sums, stacked
from dawnproof.measure.streak_lines import Beside
from dawnproof.measure.streak_match import LoneLine

ROWS, COLUMNS, STRETCH = 900, 700, 36
Tone = npt.NDArray[np.float64]


@cache
def work(name: str) -> Tone:
    surface = {
        "strokes": lambda: surfaces.strokes(ROWS, COLUMNS, 41),
        "paper": lambda: surfaces.paper(ROWS, COLUMNS, 42),
        "laid": lambda: surfaces.laid(ROWS, COLUMNS, 43),
        "weave": lambda: surfaces.weave(ROWS, COLUMNS, 44),
        "drawing": lambda: surfaces.drawing(ROWS, COLUMNS, 45),
    }[name]()
    grey: Tone = scans.see(surface, scans.Camera(noise=0.003), 0.0, 0.0, 7).mean(axis=2).astype(np.float64)
    return grey


def sums_of(tone: Tone) -> list[EdgeSums]:
    groups = tone.reshape(ROWS // 4, 4, COLUMNS).mean(axis=1).astype(np.float32)
    return [edge_sums(groups[k : k + STRETCH // 4], False) for k in range(0, len(groups), STRETCH // 4)]


def lines(tone: Tone) -> tuple[LoneLine, ...]:
    return lone_lines(stacked(sums_of(tone)))


@pytest.mark.parametrize("name", ["strokes", "paper", "laid", "weave", "drawing"])
@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_one_percent_over_the_full_height(name: str, width: int) -> None:
    assert lines(work(name)) == ()
    column, share = 150 + 97 * width, 0.01 if width % 2 else -0.01
    tone = work(name).copy()
    tone[:, column : column + width] *= 1 + share
    (found,) = lines(tone)
    assert found.centre == pytest.approx(column + (width - 1) / 2, abs=1.0)
    assert found.share == pytest.approx(share, abs=0.003)
    assert (found.first, found.last) == (0, ROWS // STRETCH)


def test_half_the_height() -> None:
    tone = work("paper").copy()
    tone[ROWS // 2 :, 300:302] *= 0.98
    (found,) = lines(tone)
    assert found.centre == pytest.approx(300.5, abs=1.0)
    assert found.last == ROWS // STRETCH
    assert found.first == pytest.approx(ROWS / STRETCH / 2, abs=4)


@pytest.mark.parametrize("share", [0.01, 0.03, -0.02])
@pytest.mark.parametrize("blur", [0.0, 0.6, 1.2])
def test_an_edge_is_no_line(share: float, blur: float) -> None:
    """A step of tone over the whole height: the stitch of two cameras, a mount, a fold."""
    step = np.zeros(COLUMNS)
    step[350:] = share
    if blur:
        kernel = np.exp(-0.5 * (np.arange(-6, 7) / blur) ** 2)
        step = np.convolve(np.pad(step, 6, mode="edge"), kernel / kernel.sum(), "valid")
    for name in ("paper", "strokes", "weave"):
        assert lines(work(name) * (1 + step)) == ()


def test_a_broken_line_is_painted() -> None:
    """Half of it missing, in three pieces: no sensor does that."""
    tone = work("paper").copy()
    tone[: ROWS // 6, 500:503] *= 0.97
    tone[ROWS // 3 : ROWS // 2, 500:503] *= 0.97
    tone[-ROWS // 6 :, 500:503] *= 0.97
    assert lines(tone) == ()


def test_another_line_along_a_sixth_of_it_does_not_hide_a_streak() -> None:
    tone = work("paper").copy()
    tone[:, 400:402] *= 1.02
    tone[ROWS // 6 : ROWS // 3, 400:402] *= 0.99
    (found,) = lines(tone)
    assert found.centre == pytest.approx(400.5, abs=1.0)
    assert (found.first, found.last) == (0, ROWS // STRETCH)


@pytest.mark.parametrize("darker", [0.03, 0.1])
@pytest.mark.parametrize("width", [6, 8, 11])
def test_the_flanks_of_something_broader_are_no_streak(width: int, darker: float) -> None:
    """A straight joint or bar, one flank sharp and the other rounded, with a faint line beside it."""
    profile = np.zeros(COLUMNS)
    profile[350 : 350 + width] = 1.0
    profile[350:353] = 0.3, 0.7, 0.9
    profile[350 + width] = -0.2
    for name in ("paper", "laid", "strokes"):
        assert lines(work(name) * (1 - darker * profile)) == ()


@pytest.mark.parametrize("name", ["strokes", "weave"])
def test_a_streak_weaker_than_the_grain_is_found(name: str) -> None:
    """Of half a percent and a little, where neighbouring places differ by more."""
    tone = work(name).copy()
    apart = np.median(np.abs(np.diff(tone, axis=1)) / tone[:, 1:])
    assert apart > 0.007
    tone[:, 320:322] *= 1 + 0.007
    (found,) = lines(tone)
    assert found.centre == pytest.approx(320.5, abs=1.0)


@pytest.mark.parametrize("left", [0, 1, 2, COLUMNS - 4, COLUMNS - 2])
def test_a_column_at_the_frame_itself_has_nothing_to_be_held_against(left: int) -> None:
    tone = work("paper").copy()
    tone[:, left : left + 2] *= 1.03
    nothing = Beside(np.zeros(ROWS // STRETCH, bool), np.zeros((ROWS // STRETCH, COLUMNS), bool))
    assert lone_streaks(stacked(sums_of(tone)), nothing, STRETCH) == ()


def test_ruled_lines_are_many() -> None:
    tone = work("paper").copy()
    for column in range(40, COLUMNS - 40, 60):
        tone[:, column : column + 2] *= 0.97
    assert lines(tone) == ()


def test_what_the_lid_denies_is_no_streak() -> None:
    """A line over the whole work; the lid above and below it is clean, or shows it too."""
    tone = work("paper").copy()
    tone[STRETCH * 3 : -STRETCH * 3, 300:303] *= 0.98
    stretches = ROWS // STRETCH
    lid = np.zeros(stretches, bool)
    lid[:3] = lid[-3:] = True
    beside = Beside(lid, np.zeros((stretches, COLUMNS), bool))
    assert lone_streaks(stacked(sums_of(tone)), beside, STRETCH) == ()
    tone[:, 300:303] = work("paper")[:, 300:303] * 0.98
    (found,) = lone_streaks(stacked(sums_of(tone)), beside, STRETCH)
    assert found.column == pytest.approx(301, abs=1)
    assert not found.on_lid
