"""What the light of the parts does to a join: clipped, lit from another side, without relief."""

import numpy as np
import parts as made
import pytest
from bench.join_scene import ArraySource, scan

from dawnproof.assemble.join import plan_join, render
from dawnproof.errors import JoinRefused


def test_parts_lit_from_different_sides_fit_and_are_joined_with_a_fault_that_says_so() -> None:
    """Nobody turned the work: the lamps were changed between the parts."""
    left, right = made.halves(110)
    random = np.random.default_rng(3)
    other = ArraySource(scan(made.scene().lit(2), right, random, 0.002))
    plan = plan_join(made.pair(made.scanned(left), other))
    assert plan.parts[1].turns == 0
    [said] = [n for n in plan.notes if n.code == "light"]
    assert said.fault
    assert "a and b fit but their relief is lit differently" in said.text
    assert plan.overlaps[0].relief is not None
    assert plan.overlaps[0].relief < 0.5  # pigment shown alike keeps it from -1
    assert np.concatenate(list(render(plan, made.pair(made.scanned(left), other)))).shape[0] == plan.height


def test_a_turned_part_without_relief_is_joined_with_a_note() -> None:
    left, right = made.halves(110)
    random = np.random.default_rng(5)
    flat = made.scene(relief=0.0).lit()
    turned = ArraySource(np.rot90(scan(flat, right, random, 0.001), 1).copy())
    plan = plan_join(made.pair(ArraySource(scan(flat, left, random, 0.001)), turned))
    [said] = [n for n in plan.notes if n.code == "turned"]
    assert not said.fault
    assert "turned by" in said.text
    assert plan.parts[1].turns in (1, 3)


def test_an_overlap_clipped_on_the_work_is_refused() -> None:
    left, right = made.halves(110)
    bright = [made.scanned(half, i).pixels.astype(int) * 5 for i, half in enumerate((left, right), 1)]
    clipped = [ArraySource(np.minimum(image, 65535).astype(np.uint16)) for image in bright]
    overlap = clipped[0].pixels[:, -110:]
    assert (overlap == 65535).all(axis=2).mean() > 0.1
    with pytest.raises(JoinRefused) as refused:
        plan_join(made.pair(clipped[0], clipped[1]))
    assert refused.value.code == "clipped"
    assert "is clipped on the work" in str(refused.value)


def test_a_glint_does_not_make_a_clipped_overlap() -> None:
    left, right = made.halves(110)
    images = [made.scanned(half, i) for i, half in enumerate((left, right), 1)]
    images[0].pixels[100:112, -60:-40] = 65535
    images[1].pixels[100:112, 50:70] = 65535
    assert plan_join(made.pair(images[0], images[1])).overlaps[0].share > 0.2
