"""Patches of one half looked for on the other: places are known from how the halves were cut."""

import cv2
import numpy as np
import parts as made
import pytest
from bench.join_scene import ArraySource

from dawnproof.assemble.bend import bend_of
from dawnproof.assemble.fit import Matches
from dawnproof.assemble.match import cut_out, match_patches
from dawnproof.assemble.view import View, apply, compose, inverse

LEFT, RIGHT = made.halves(90, 0.8, (0.4, -1.7))
TRUE = compose(inverse(RIGHT.matrix), LEFT.matrix)  # left pixels to right pixels


@pytest.fixture(scope="module")
def views() -> tuple[View, View]:
    first, second = made.pair(made.scanned(LEFT), made.scanned(RIGHT, 2))
    return View(first), View(second)


def off(matches: Matches, matrix: np.ndarray) -> np.ndarray:
    return np.asarray(np.linalg.norm(matches.second - apply(matrix, matches.first), axis=1))


def test_fine_matches_are_within_a_few_hundredths(views: tuple[View, View]) -> None:
    start = TRUE + np.array([[0, 0, 2.3], [0, 0, -1.6]])
    found = match_patches(*views, start, 1, 6)
    assert len(found) > 0.9 * found.tested
    assert np.median(off(found, TRUE)) < 0.04


def test_rough_matches_are_within_half_a_pixel(views: tuple[View, View]) -> None:
    found = match_patches(*views, TRUE, 1, 6, fine=False)
    assert np.median(off(found, TRUE)) < 0.3


def test_what_lies_beyond_reach_is_lost_and_found_again_along_a_bend(views: tuple[View, View]) -> None:
    """The map given is off by 9 px at the far end; the bend that says so brings all patches back."""
    places = match_patches(*views, TRUE, 1, 6).first
    low, high = places.min(axis=0) - 40, places.max(axis=0) + 40
    tilt = (places[:, 1] - low[1]) / (high[1] - low[1])
    bend = bend_of(places, np.stack([0 * tilt, 9 * tilt], axis=1), low, high)
    assert bend is not None
    tilted = TRUE + np.array([[0, 0, 0], [0, -9 / (high[1] - low[1]), 9 * low[1] / (high[1] - low[1])]])
    without, along = match_patches(*views, tilted, 1, 4), match_patches(*views, tilted, 1, 4, bend=bend)
    assert len(along) > 0.95 * along.tested
    assert len(without) < 0.8 * without.tested
    assert np.median(off(along, TRUE)) < 0.05


def test_marks_that_are_hidden_do_not_pull(views: tuple[View, View]) -> None:
    images = [made.scanned(LEFT).pixels, made.scanned(RIGHT, 2).pixels]
    random = np.random.default_rng(5)
    marks = np.zeros((LEFT.rows, LEFT.columns), bool)
    for y, x in random.integers(0, (marks.shape[0] - 9, marks.shape[1] - 9), (150, 2)):
        marks[y : y + 4, x : x + 4] = True
    for image in images:
        image[marks] = 2000
    given = [View(part) for part in made.pair(ArraySource(images[0]), ArraySource(images[1]))]
    plain = match_patches(given[0], given[1], TRUE, 1, 6)
    for seen in given:
        seen.hidden = 1, cv2.dilate(marks.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    hidden = match_patches(given[0], given[1], TRUE, 1, 6)
    assert np.percentile(off(hidden, TRUE), 80) < 0.5 * np.percentile(off(plain, TRUE), 80)


def test_a_piece_beyond_the_view_repeats_its_rim(views: tuple[View, View]) -> None:
    piece = cut_out(views[0], -5, 3, 20, 12, 1)
    assert piece.shape == (12, 20)
    assert np.array_equal(piece[:, :6], np.repeat(piece[:, 5:6], 6, axis=1))
