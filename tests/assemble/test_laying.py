"""Patches of one part laid on the other, against spline truth of the scene."""

import numpy as np
import parts as made
import pytest
from bench.join_scene import ArraySource, scan

from dawnproof.assemble.laying import laid_patches, patch_size
from dawnproof.assemble.parts import JoinPart
from dawnproof.assemble.view import View


def views(angle_deg: float) -> tuple[View, View, np.ndarray]:
    left, right = made.halves(150, angle_deg, (0.3, 0.6))
    lit, random = made.scene().lit(), np.random.default_rng(1)
    images = [ArraySource(scan(lit, half, random)) for half in (left, right)]
    first, second = (View(JoinPart(n, n, i, made.PPI)) for n, i in zip("LR", images, strict=True))
    return first, second, np.linalg.inv(np.vstack([made.true_matrix(left, right), [0, 0, 1]]))[:2]


@pytest.mark.parametrize("angle", [0.0, 1.7])
def test_both_patches_show_the_same_place(angle: float) -> None:
    first, second, true = views(angle)
    found = laid_patches(first, second, true, np.array([300.0, 190.0]), 48)
    assert found is not None
    ours, theirs = found
    assert ours.shape == theirs.shape == (48, 48, 3)
    assert np.abs(ours - theirs)[2:-2, 2:-2].mean() < 0.006  # the cubic of laying against the quintic of the scene
    displaced = laid_patches(first, second, true + np.array([[0, 0, 3.0], [0, 0, 0]]), np.array([300.0, 190.0]), 48)
    assert displaced is not None
    assert np.abs(displaced[0] - displaced[1])[2:-2, 2:-2].mean() > 5 * np.abs(ours - theirs)[2:-2, 2:-2].mean()


@pytest.mark.parametrize("place", [(2.0, 190.0), (60.0, 190.0)])
def test_a_patch_that_runs_out_of_a_frame_is_none(place: tuple[float, float]) -> None:
    first, second, true = views(0.0)
    assert laid_patches(first, second, true, np.array(place), 48) is None


def test_patches_fit_a_narrow_overlap() -> None:
    class Narrow:
        across_px = 40.0

    assert patch_size(Narrow(), 64) == 22  # type: ignore[arg-type]
    Narrow.across_px = 9.0
    assert patch_size(Narrow(), 64) == 12  # type: ignore[arg-type]
    Narrow.across_px = 900.0
    assert patch_size(Narrow(), 64) == 64  # type: ignore[arg-type]
