"""Which place of one part lies on the other, without being told where."""

import numpy as np
import parts as made
import pytest
from bench.join_scene import ArraySource, scan

from dawnproof.assemble.parts import JoinPart
from dawnproof.assemble.search import overview_factor, touching
from dawnproof.assemble.view import View


def view(name: str, image: ArraySource) -> View:
    return View(JoinPart(name, name, image, made.PPI))


def weave(shift: int) -> ArraySource:
    """Threads every 12 px both ways, each like the next, with a little noise of the sensor."""
    y, x = np.mgrid[0:300, 0:300]
    tone = 0.5 + 0.15 * np.sin(2 * np.pi * (x + shift) / 12) * np.sin(2 * np.pi * y / 12)
    noise = np.random.default_rng(shift).normal(0, 0.002, (300, 300))
    return ArraySource(np.repeat(np.rint((tone + noise) * 65535).astype(np.uint16)[:, :, None], 3, axis=2))


@pytest.mark.parametrize("angle", [0.0, 2.0])
def test_the_place_is_found(angle: float) -> None:
    left, right = made.halves(90, angle)
    touch = touching(view("L", made.scanned(left)), view("R", made.scanned(right, 2)), 1)
    assert touch.fit is not None
    true = np.linalg.inv(np.vstack([made.true_matrix(left, right), [0, 0, 1]]))[:2]
    places = touch.fit.matches.first
    apart = places @ (touch.fit.matrix[:, :2] - true[:, :2]).T + touch.fit.matrix[:, 2] - true[:, 2]
    assert np.linalg.norm(apart, axis=1).max() < 0.05
    assert (touch.code, touch.second.turns) == ("", 0)


def test_a_turned_part_is_found_turned() -> None:
    left, right = made.halves(110)
    random = np.random.default_rng(2)
    flat = made.scene(relief=0.0).lit()
    turned = ArraySource(np.rot90(scan(flat, right, random, 0.001), -1).copy())
    touch = touching(view("L", ArraySource(scan(flat, left, random, 0.001))), view("R", turned), 1)
    assert touch.fit is not None
    assert touch.second.turns == 1


def test_a_weave_fits_in_several_places_and_tells_its_period() -> None:
    touch = touching(view("L", weave(0)), view("R", weave(3)), 1)
    assert touch.fit is None
    assert touch.code == "ambiguous"
    nearest = round(touch.period_px / 6)  # threads over and under: the same again after half a period each way
    assert touch.period_px == pytest.approx(np.hypot(6, 6), abs=1.0) or touch.period_px == pytest.approx(
        6 * nearest, abs=1.0
    )


def test_other_works_do_not_touch() -> None:
    left, _ = made.halves(90)
    strange = np.random.default_rng(4).integers(9000, 60000, (400, 345, 3), dtype=np.uint16)
    touch = touching(view("L", made.scanned(left)), view("R", ArraySource(strange)), 1)
    assert (touch.fit, touch.code) == (None, "unrelated")


def test_parts_are_reduced_until_the_larger_fits() -> None:
    assert overview_factor([view("a", ArraySource(np.zeros((10, 1601, 3), np.uint8)))]) == 2
    assert overview_factor([view("a", ArraySource(np.zeros((1600, 10, 3), np.uint8)))]) == 1
