"""What is fixed to the bed is found and taken out; what belongs to the work stays."""

import numpy as np
import pytest
from bench.join_scene import ArraySource
from skimage import data

from dawnproof.assemble.bed import blind_at, hide_streaks, streaks_of, without_marks, without_streaks
from dawnproof.assemble.parts import JoinPart
from dawnproof.assemble.view import View

STREAKS = {31: 0.05, 32: 0.05, 200: -0.08}


def view(streaked: bool = True) -> View:
    grey = data.gravel()[:400, :300] / 255 * 0.5 + 0.2
    if streaked:
        for column, by in STREAKS.items():
            grey[:, column] += by
    return View(JoinPart("a", "L", ArraySource(np.rint(grey * 65535).astype(np.uint16)[:, :, None]), 300.0))


def test_streaks_are_found_where_they_are_and_nowhere_else() -> None:
    found = streaks_of(view())
    assert found[[31, 32, 200]] == pytest.approx([0.05, 0.05, -0.08], abs=0.03)
    others = np.delete(found, [*range(26, 38), *range(195, 206)])
    assert np.abs(others).max() < 0.025  # half the faintest
    assert (others != 0).mean() < 0.02


def test_what_lies_beside_a_strong_streak_of_a_smooth_work_is_none() -> None:
    """On a smooth work everything stands out: what is around a streak must be looked at without it."""
    random = np.random.default_rng(3)
    grey = 0.4 + 0.002 * random.standard_normal((400, 300))
    grey[:, 120:122] += 0.09
    image = np.rint(grey * 65535).astype(np.uint16)[:, :, None]
    found = streaks_of(View(JoinPart("a", "L", ArraySource(image), 300.0)))
    assert found[120:122] == pytest.approx([0.09, 0.09], abs=0.004)
    assert np.count_nonzero(found) == 2


def test_streaks_are_hidden_whichever_way_the_part_lies() -> None:
    given = view()
    hide_streaks(given, view())
    hidden = np.zeros((400, 300), bool)
    assert given.streaks is not None
    hidden[:, given.streaks != 0] = True
    for quarters in range(4):
        turned = given.turned(quarters)
        found = blind_at(turned, 0, 0, turned.width, turned.height, 1)
        assert found is not None
        assert np.array_equal(found, np.rot90(hidden, quarters))


def test_a_texture_without_streaks_is_left_alone() -> None:
    assert (streaks_of(view(streaked=False)) != 0).mean() < 0.02


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_streaks_are_taken_out_whichever_way_the_part_lies(quarters: int) -> None:
    plain, given = view(streaked=False), view()
    apart = []
    hide_streaks(given, view())
    for seen in (given, plain):
        turned = seen.turned(quarters)
        piece = turned.grey(20, 15, 220, 230)
        apart.append(without_streaks(piece, turned, 20, 15, 1) if seen is given else piece)
    rms = float(np.sqrt(((apart[0] - apart[1]) ** 2).mean()))
    with_them = float(np.sqrt(((given.turned(quarters).grey(20, 15, 220, 230) - apart[1]) ** 2).mean()))
    assert rms < 0.45 * with_them


def test_what_only_one_scan_shows_is_no_streak_of_the_sensor() -> None:
    given, plain = view(), view(streaked=False)
    hide_streaks(given, plain)
    assert given.streaks is not None
    assert np.abs(given.streaks[[31, 32, 200]]).max() == 0


def test_hidden_marks_are_filled_with_what_is_around_them() -> None:
    seen = view(streaked=False)
    piece = seen.grey(100, 80, 64, 48)
    marks = np.zeros((200, 150), bool)
    marks[45:48, 60:64] = True
    seen.hidden = 2, marks
    found = without_marks(piece, seen, 100, 80, 1)
    hidden = np.zeros(piece.shape, bool)
    hidden[10:16, 20:28] = True
    assert np.array_equal(found[~hidden], piece[~hidden])
    assert found[hidden].std() < 0.3 * piece[hidden].std()


def test_marks_turn_with_the_view() -> None:
    seen = view()
    marks = np.zeros((200, 150), bool)
    marks[3, 7] = True
    seen.hidden = 2, marks
    turned = seen.turned(1)
    assert turned.hidden is not None
    assert np.array_equal(turned.hidden[1], np.rot90(marks))
