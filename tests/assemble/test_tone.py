"""Gains on linear light over a grid that must not drift."""

import numpy as np
import parts as made
import pytest
from bench.join_scene import laid

from dawnproof.assemble.fit import Matches
from dawnproof.assemble.register import PairFit
from dawnproof.assemble.tone import even_out, gain_table
from dawnproof.assemble.view import View
from dawnproof.measure.curve import tone_curve

CURVE = tone_curve(None)
CUT = [laid((110 + 105 * i, 230), (300, 160)) for i in range(5)]


def exact(a: int, b: int) -> PairFit:
    matrix = made.true_matrix(CUT[b], CUT[a])
    first = np.stack(np.meshgrid(np.arange(128.0, 136), np.arange(30.0, 280, 10)), axis=-1).reshape(-1, 2)
    second = first @ matrix[:, :2].T + matrix[:, 2]
    matches = Matches(first, second, np.tile(np.eye(2), (len(first), 1, 1)), np.ones(len(first)), len(first))
    return PairFit(matrix, matches, 0.3, 50.0, (132.0, 150.0), -50.0)


def test_gains_along_a_row_of_five_do_not_drift() -> None:
    gains = [1.0, 1.08, 0.93, 1.05, 0.96]
    views = [View(p) for p in made.pair(made.scanned(CUT[0], 1), made.scanned(CUT[1], 2, gain=gains[1]))]
    for i in (2, 3, 4):
        views.append(View(made.pair(made.scanned(CUT[i], i + 1, gain=gains[i]), made.scanned(CUT[0]))[0]))
    tone = even_out(views, {(i, i + 1): exact(i, i + 1) for i in range(4)}, CURVE, 0, 1.5)
    assert np.array_equal(tone.gains[0], [1, 1, 1])
    assert tone.gains[:, 1] == pytest.approx([1 / g for g in gains], rel=0.004)
    assert max(tone.left_percent.values()) < 0.5
    assert max(tone.clipped.values()) < 0.01


def test_dust_and_a_lid_that_stand_still_do_not_change_the_gain() -> None:
    images = [made.scanned(CUT[0], 1), made.scanned(CUT[1], 2, gain=1.04)]
    random = np.random.default_rng(2)
    lid = np.zeros((300, 160), bool)
    lid[:, :24] = True
    for y, x in random.integers(0, (295, 155), (60, 2)):
        for image in images:
            image.pixels[y : y + 5, x : x + 5] //= 5
    for image in images:
        image.pixels[lid] = 30000
    views = [View(p) for p in made.pair(images[0], images[1])]
    for view in views:
        view.hidden = 1, lid
    tone = even_out(views, {(0, 1): exact(0, 1)}, CURVE, 0, 1.5)
    assert tone.gains[1] == pytest.approx([1 / 1.04] * 3, rel=0.01)


def test_a_gain_beyond_what_is_allowed_is_held() -> None:
    views = [View(p) for p in made.pair(made.scanned(CUT[0], 1), made.scanned(CUT[1], 2, gain=0.6))]
    tone = even_out(views, {(0, 1): exact(0, 1)}, CURVE, 0, 1.25)
    assert tone.gains[1] == pytest.approx([1.25] * 3)


def test_table_multiplies_linear_light() -> None:
    view = View(made.pair(made.scanned(CUT[0]), made.scanned(CUT[1]))[0])
    table = gain_table(view, CURVE, 1.1)
    value = 30000
    assert table[value] / 65535 == pytest.approx(value / 65535 * 1.1 ** (1 / 2.2), rel=1e-3)
    assert table[65535] == 65535
    assert np.all(np.diff(table.astype(int)) >= 0)
