"""Works are the same for the same seed, have the edges of their medium, and detail everywhere."""

import cv2
import numpy as np
import pytest

from dawnproof.model import Bed
from dawnproof.rehearsal.artworks import Artwork, Medium, make
from dawnproof.rehearsal.bed import Flatbed, Placement, scan

PX_MM = 400 / 25.4
PAPERS = (Medium.WATERCOLOUR, Medium.DRAWING, Medium.BARE_SHEET)


@pytest.fixture(scope="module")
def works() -> dict[Medium, Artwork]:
    return {medium: make(medium, 36.0, 48.0, PX_MM, seed=11) for medium in Medium}


@pytest.mark.parametrize("medium", Medium)
def test_the_same_seed_gives_the_same_work_and_another_seed_another(
    works: dict[Medium, Artwork], medium: Medium
) -> None:
    again, other = make(medium, 36.0, 48.0, PX_MM, seed=11), make(medium, 36.0, 48.0, PX_MM, seed=12)
    assert np.array_equal(works[medium].pigment, again.pigment)
    assert np.array_equal(works[medium].relief, again.relief)
    assert not np.array_equal(works[medium].pigment, other.pigment)


@pytest.mark.parametrize("medium", Medium)
def test_size_and_reflectance_are_possible(works: dict[Medium, Artwork], medium: Medium) -> None:
    work = works[medium]
    assert (work.height_mm, work.width_mm) == pytest.approx((36.0, 48.0), abs=0.05)
    assert 0.01 < float(work.pigment.min()) <= float(work.pigment.max()) <= 0.9
    assert np.abs(work.relief).max() < 1.0


@pytest.mark.parametrize("medium", Medium)
def test_paper_has_a_deckle_and_canvas_a_straight_edge(works: dict[Medium, Artwork], medium: Medium) -> None:
    left_edge_px = np.argmax(works[medium].cover[40:-40] > 0.5, axis=1)
    if medium in PAPERS:
        assert 0.1 * PX_MM < float(left_edge_px.std()) < 1.0 * PX_MM
        assert int(left_edge_px.max()) < 2.0 * PX_MM
    else:
        assert int(np.ptp(left_edge_px)) == 0


@pytest.mark.parametrize("medium", Medium)
def test_detail_stands_above_the_sensor_noise_everywhere(works: dict[Medium, Artwork], medium: Medium) -> None:
    """In every 3 mm square well inside the work, fine structure is stronger than the scanner's own noise."""
    flatbed = Flatbed(Bed("bed-a", 56.0, 44.0), 400)
    grey = scan(works[medium], flatbed, Placement(4, 4), seed=1).mean(axis=2).astype(np.float32) / 65535
    quiet = Flatbed(Bed("bed-a", 56.0, 44.0), 400, read_noise=0, shot_noise=0)
    truth = scan(works[medium], quiet, Placement(4, 4), seed=1).mean(axis=2).astype(np.float32) / 65535
    fine = truth - cv2.GaussianBlur(truth, (0, 0), 0.5 * PX_MM)
    square = round(3 * PX_MM)
    for row in range(round(7 * PX_MM), round(34 * PX_MM), square):
        for column in range(round(7 * PX_MM), round(46 * PX_MM), square):
            here = (slice(row, row + square), slice(column, column + square))
            assert fine[here].std() > 1.3 * (grey - truth)[here].std(), (row / PX_MM, column / PX_MM)


def test_only_thick_paint_shines(works: dict[Medium, Artwork]) -> None:
    assert works[Medium.OIL].gloss.mean() > 0.4
    assert works[Medium.WATERCOLOUR].gloss.max() == 0


def test_the_red_ground_is_saturated(works: dict[Medium, Artwork]) -> None:
    red, green, blue = np.median(works[Medium.RED_GROUND].pigment, axis=(0, 1))
    assert red > 8 * green
    assert red > 8 * blue
