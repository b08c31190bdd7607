"""Stitch strips do not say how parts lie: what a stitch moved inside a part must not bend its neighbour."""

import numpy as np
import parts as made
import pytest
from bench.join_scene import ArraySource, laid, scan

from dawnproof.assemble.join import plan_join
from dawnproof.assemble.parts import JoinPart
from dawnproof.errors import JoinRefused

TOP, BOTTOM = laid((320, 160), (260, 560)), laid((320, 315), (230, 560))
STITCH, HALF = 250, 110


def stitched(aside_px: float) -> ArraySource:
    """The upper part; around its stitch the work stands aside by up to `aside_px`, as where it was lifted there."""
    place = np.arange(TOP.columns) - STITCH
    aside = aside_px * np.clip(1 - np.abs(place) / HALF, 0, 1)
    images = []
    for by in np.unique(np.round(aside, 1)):
        moved = laid((320 + by, 160), (TOP.rows, TOP.columns))
        images.append((np.round(aside, 1) == by, scan(made.scene().lit(), moved, np.random.default_rng(4), 0.002)))
    out = images[0][1].copy()
    for columns, image in images:
        out[:, columns] = image[:, columns]
    return ArraySource(out)


def upper_and_lower(image: ArraySource, barred: bool = True) -> list[JoinPart]:
    lower = made.scanned(BOTTOM, 2)
    seams, half = ((float(STITCH),), float(HALF)) if barred else ((), 0.0)
    return [
        JoinPart("a", "T", image, made.PPI, seams_px=seams, seam_halfwidth_px=half),
        JoinPart("b", "B", lower, made.PPI),
    ]


def test_what_a_stitch_moved_does_not_bend_the_neighbour() -> None:
    plan = plan_join(upper_and_lower(stitched(3.0)))
    assert plan.reference == "a"
    assert plan.parts[1].warps == ()
    placed = plan.parts[1].matrix.copy()
    placed[:, 2] -= plan.parts[0].matrix[:, 2]
    assert made.corner_error(placed, made.true_matrix(TOP, BOTTOM), BOTTOM) < 0.05


def test_a_strip_that_shows_something_else_is_refused_where_it_must_be_shown() -> None:
    image = stitched(0.0)
    random = np.random.default_rng(9)
    columns = slice(STITCH - HALF, STITCH + HALF)
    image.pixels[:, columns] = random.permutation(image.pixels[:, columns].reshape(-1, 3)).reshape(-1, 2 * HALF, 3)
    with pytest.raises(JoinRefused) as refused:
        plan_join(upper_and_lower(image))
    assert refused.value.code == "lift"
