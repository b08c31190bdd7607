"""One side of a work: sub-pixel place and slope of a known edge, what is painted within, and what is no edge."""

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from dawnproof.measure.edges import Side, find_side

Picture = npt.NDArray[np.float32]


def step(edge: float, slope_deg: float = 0.0, lid: float = 0.9, work: float = 0.4, noise: float = 0.002) -> Picture:
    """Lid left of a slanted line, work right of it, drawn eight times finer; (200, 240, 3)."""
    y, x = (np.mgrid[0:1600, 0:1920] + 0.5) / 8
    inside = x - edge - np.tan(np.radians(slope_deg)) * (y - 100)
    fine = np.where(inside > 0, work, lid).astype(np.float32)
    picture = np.asarray(cv2.resize(fine, (240, 200), interpolation=cv2.INTER_AREA))
    return (picture[..., None] + np.random.default_rng(5).normal(0, noise, (200, 240, 3))).astype(np.float32)


def look(picture: Picture, at: float = 60.0, grain: float = 0.003) -> Side | None:
    return find_side(picture, np.array([at, 100.0]), np.array([1.0, 0.0]), 190.0, (-8.0, 40.0), grain)


@pytest.mark.parametrize("edge", [60.0, 61.3, 58.75, 66.5])
@pytest.mark.parametrize("slope_deg", [0.0, 0.7, -1.4])
def test_place_and_slope(edge: float, slope_deg: float) -> None:
    side = look(step(edge, slope_deg))
    assert side is not None
    # along the pixel grid the places lock to its halves by up to an eighth of a pixel
    assert 60 + side.at(0.0) == pytest.approx(edge, abs=0.13 if slope_deg == 0.0 else 0.06)
    assert np.degrees(np.arctan(side.slope)) == pytest.approx(slope_deg, abs=0.04)
    assert side.support > 0.95


@pytest.mark.parametrize("middle", [-600.0, 800.0])
def test_a_side_whose_middle_lies_far_outside_the_picture(middle: float) -> None:
    """The short part of it that is to be seen shows the edge all the same."""
    length = 2 * abs(middle - 100.0)
    side = find_side(step(62.0), np.array([60.0, middle]), np.array([1.0, 0.0]), length, (-8.0, 40.0), 0.003)
    assert side is not None
    assert 60 + float(np.median(side.offset + side.slope * side.along)) == pytest.approx(62.0, abs=0.1)


def test_a_painted_frame_further_in_is_not_the_edge() -> None:
    picture = step(62.0, work=0.8)
    picture[:, 75:80] -= 0.6
    side = look(picture)
    assert side is not None
    assert 60 + side.at(0.0) == pytest.approx(62.0, abs=0.1)


def test_the_work_begins_where_its_shadow_ends() -> None:
    picture = step(64.0, work=0.85)
    away = 64.0 - (np.arange(240) + 0.5)
    picture *= np.where(away > 0, 1 - 0.3 * np.exp(-np.abs(away) / 3), 1)[None, :, None].astype(np.float32)
    side = look(picture)
    assert side is not None
    assert 60 + side.at(0.0) == pytest.approx(64.0, abs=0.5)


@pytest.mark.parametrize("work", [0.75, 0.78, 0.82])
def test_pale_work_beside_a_shadow_that_falls_short_of_it(work: float) -> None:
    """The shadow is steepest two pixels outside the edge, and the work hardly differs from it."""
    picture = step(64.0, work=work)
    outside = (np.arange(240) + 0.5) < 64.0
    shadow = 1 - 0.15 / (1 + np.exp(-(np.arange(240) + 0.5 - 62.0) / 1.2))
    picture *= np.where(outside, shadow, 1)[None, :, None].astype(np.float32)
    side = look(picture)
    assert side is not None
    # without a look behind the shadow it would be 61.8; more than the half pixel that the crop adds would cut the work
    assert 62.4 <= 60 + side.at(0.0) <= 64.5


def test_strokes_without_a_paper_edge_are_no_side() -> None:
    picture = step(500.0)
    rng = np.random.default_rng(2)
    for _ in range(14):
        start, turn = rng.uniform((62, 0), (110, 200)), np.radians(rng.uniform(-60, 60))
        end = start + rng.uniform(20, 60) * np.array([np.cos(turn), np.sin(turn)])
        cv2.line(picture, start.astype(int).tolist(), end.astype(int).tolist(), (0.2, 0.2, 0.2), 2)
    assert look(picture) is None


def test_bare_lid_and_a_side_outside_the_picture_are_none() -> None:
    assert look(step(500.0)) is None
    assert look(step(60.0), at=-30.0) is None
