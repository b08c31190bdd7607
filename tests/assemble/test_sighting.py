"""Parts seen on an overview: matched places against the scale at which it was made."""

import cv2
import numpy as np
import parts as made
import pytest
from bench.join_scene import ArraySource

from dawnproof.assemble.parts import JoinPart
from dawnproof.assemble.sighting import sightings
from dawnproof.assemble.view import View
from dawnproof.model import Box


def view(name: str, values: np.ndarray, box: Box | None = None) -> View:
    return View(JoinPart(name, name, ArraySource(np.rint(np.clip(values, 0, 1) * 65535).astype(np.uint16)), 300.0,
                         box=box))  # fmt: skip


@pytest.mark.parametrize("width", [640, 400, 250])
def test_matches_lie_where_they_belong_within_a_pixel_of_the_overview(width: int) -> None:
    scene = made.scene().lit()
    height = round(width * made.ROWS / made.COLUMNS)
    small = cv2.resize(scene, (width, height), interpolation=cv2.INTER_AREA)
    [left, right] = sightings(view("all", small), [view("L", scene[:, :360]), view("R", scene[:, 280:])])
    for sighting, begins in ((left, 0), (right, 280)):
        assert sighting.found
        ratio = np.array([width / made.COLUMNS, height / made.ROWS])
        expected = (sighting.on_part + np.array([begins + 0.5, 0.5])) * ratio - 0.5
        assert np.median(np.linalg.norm(sighting.on_overview - expected, axis=1)) < 0.5
        assert np.percentile(np.linalg.norm(sighting.on_overview - expected, axis=1), 95) < 2.0


def test_a_blank_part_and_another_picture_are_not_found() -> None:
    scene = made.scene().lit()
    read = [cv2.imread(str(made.DATA / f"textures/{n}.png"), cv2.IMREAD_COLOR) for n in ("brick", "grass", "gravel")]
    others = [view("other", image / 255) for image in read if image is not None]
    found = sightings(view("all", scene), [view("blank", np.full((300, 300, 3), 0.5)), *others])
    assert [sighting.found for sighting in found] == [False] * 4


def test_the_lid_around_a_part_is_left_out() -> None:
    scene = made.scene().lit()
    laid = np.full((made.ROWS + 80, 440, 3), 0.9)
    laid[40:-40, 40:400] = scene[:, :360]
    [sighting] = sightings(view("all", scene), [view("L", laid, Box(40, 40, 360, made.ROWS))])
    assert sighting.found
    assert sighting.on_part.min() >= 35
