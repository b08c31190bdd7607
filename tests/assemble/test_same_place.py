"""What returns at the same place of the bed without being fixed to it."""

import cv2
import numpy as np
import parts as made
import pytest
from bench.join_scene import ArraySource, Scene, scan

from dawnproof.assemble.join import plan_join
from dawnproof.errors import JoinRefused

OVERLAP = 110
STEP = made.COLUMNS - 40 - (made.COLUMNS - 40 + OVERLAP) // 2  # from one half to the next, px


def rows_of_buttons(seed: int) -> Scene:
    """Two rows of buttons, no two quite alike, as far from one another as the halves, on a dark ground with the grain
    of the scene: both halves show a button at about the same places of the bed, in the left one's overlap too."""
    ground, random = made.scene(0.04), np.random.default_rng(seed)
    pigment = np.full_like(ground.pigment, 0.12)
    for y in range(70, made.ROWS - 40, 62):
        for x in (made.COLUMNS // 2, made.COLUMNS // 2 + STEP):
            at = np.rint(np.array((x, y)) + random.uniform(-2, 2, 2)).astype(int)
            tint = random.uniform(0.4, 0.6) * np.array([1, 0.9, 0.7])
            cv2.circle(pigment, at.tolist(), int(random.integers(23, 27)), tint.tolist(), -1, cv2.LINE_AA)
    return Scene(np.asarray(cv2.GaussianBlur(pigment, (0, 0), 1.5), np.float32), ground.height, ground.depth)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_like_things_as_far_apart_as_the_parts_are_no_marks_of_the_bed(seed: int) -> None:
    left, right = made.halves(OVERLAP)
    lit, random = rows_of_buttons(seed).lit(), np.random.default_rng(seed)
    first, second = (ArraySource(scan(lit, half, random, 0.0015)) for half in (left, right))
    plan = plan_join(made.pair(first, second))
    placed = plan.parts[1].matrix.copy()
    placed[:, 2] -= plan.parts[0].matrix[:, 2]
    assert made.corner_error(placed, made.true_matrix(left, right), right) < 0.05


def test_work_that_moved_between_the_scans_is_no_mark_of_the_bed_and_is_missed() -> None:
    """A flap of the left half's overlap has slipped to where the bed shows a like one in the right half."""
    left, right = made.halves(OVERLAP)
    images = [made.scanned(half, i).pixels.copy() for i, half in enumerate((left, right), 1)]
    flap = images[1][250:370, STEP : STEP + OVERLAP].copy()
    images[0][250:370, STEP : STEP + OVERLAP] = flap
    with pytest.raises(JoinRefused) as refused:
        plan_join(made.pair(ArraySource(images[0]), ArraySource(images[1])))
    assert refused.value.code == "lift"
