"""Where the work lies on parts and joined image: the master is cut to it, so none of this may cut into the work."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import scans
import surfaces
import tifffile

from dawnproof.assemble.parts import JoinPlan, PlacedPart
from dawnproof.model import Bed, Box, Crop, Level, Measured
from dawnproof.rulebook import load_book
from dawnproof.storage.tiff import open_scan
from dawnproof.workers.asks import Ask
from dawnproof.workers.framing import bordered, joined_tight, whole_frame, with_outer_sides
from dawnproof.workers.job_asks import JobAsk, PartAsk
from dawnproof.workers.measuring import measure_scan

BED = Bed("bed-a", 100.0, 100.0)
BARE = Measured("ab" * 32, 1, 400, 300, 3, 16, 400.0, 400.0, "none", "", "", (), None)


def part(label: str, corners: tuple[tuple[float, float], ...] = (), crop: bool = True) -> PartAsk:
    tight = Box(50, 40, 300, 200)
    placed = Crop(tight, 0.0, tight, corners) if crop else None
    return PartAsk(1, "", f"SL-0412_{label}.tif", label, "", BED, replace(BARE, crop=placed), (), 0.0)


def asked(*parts: PartAsk, grid: tuple[int, int] | None = None) -> JobAsk:
    return JobAsk("SL-0412", load_book("fine-art"), None, parts, grid, (), "", "", "")


def plan(*placed: tuple[PartAsk, npt.NDArray[np.float64]], width: int = 1000, height: int = 800) -> JoinPlan:
    parts = tuple(PlacedPart(p.file, matrix, (1.0, 1.0, 1.0)) for p, matrix in placed)
    return JoinPlan(width, height, 3, 16, 400.0, None, parts, (), (), (), (), parts[0].name, 3.0)


def shifted(x: float, y: float) -> npt.NDArray[np.float64]:
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y]])


def test_outer_sides_of_the_parts_bound_the_work_and_inner_ones_do_not() -> None:
    left, right = part("L"), part("R")
    tight = joined_tight(asked(left, right), plan((left, shifted(0, 0)), (right, shifted(250, 3))))
    assert tight == Box(50, 40, 550, 203)


def test_a_turned_part_bounds_by_its_outermost_corner() -> None:
    """Rounded outwards: half a pixel of the work is a pixel of the master."""
    corners = ((50.4, 41.0), (350.0, 40.2), (351.2, 240.0), (50.0, 241.3))
    whole = part("whole", corners)
    assert joined_tight(asked(whole), plan((whole, shifted(0.0, 0.0)))) == Box(50, 40, 302, 202)


def test_a_quarter_turn_counts_edges_not_pixel_centres() -> None:
    """A part laid on its side: (x, y) goes to (299 - y, x) by pixel centres, and an edge at y to 300 - y."""
    whole = part("whole")
    turned = np.array([[0.0, -1.0, 299.0], [1.0, 0.0, 0.0]])
    assert joined_tight(asked(whole), plan((whole, turned), width=300, height=400)) == Box(60, 50, 200, 300)


def test_a_part_without_an_outline_counts_whole_and_no_further_than_the_image() -> None:
    left, right = part("L", crop=False), part("R", crop=False)
    ways = (left, shifted(-5, -2)), (right, shifted(360, 0))
    assert joined_tight(asked(left, right), plan(*ways, width=700, height=300)) == Box(0, 0, 700, 300)
    assert whole_frame(BARE).box == Box(0, 0, 400, 300)


@pytest.mark.parametrize(
    ("tight", "box"),
    [
        (Box(50, 40, 100, 100), Box(40, 30, 120, 120)),
        (Box(4, 0, 100, 100), Box(0, 0, 114, 110)),
        (Box(90, 95, 110, 105), Box(80, 85, 120, 115)),
    ],
)
def test_the_border_ends_at_the_picture(tight: Box, box: Box) -> None:
    assert bordered(tight, 10, 200, 200) == box


def test_a_grid_part_shows_its_outer_right_and_bottom_sides_once_the_grid_is_known(tmp_path: Path) -> None:
    """r2c2 of two by two: measured alone, its lid at the right and the bottom could not be told from the work's inside,
    so no margin was judged there."""
    lid = scans.Lid(margins_px=(0, 0, 40, 90))
    scan = scans.make_scan(surfaces.strokes(500, 600, 2), lid)
    path = tmp_path / "SL-0412_r2c2.tif"
    tifffile.imwrite(path, scan.pixels, photometric="rgb", resolution=(400, 400), resolutionunit=2)
    alone = measure_scan(Ask(str(path), BED))
    measured = replace(alone, crop=None)
    before = PartAsk(1, str(path), path.name, "r2c2", "", BED, measured, (), 0.0)
    with open_scan(path) as opened:
        after = with_outer_sides(before, opened, asked(before, grid=(2, 2)))
        unknown = with_outer_sides(before, opened, asked(before))
    assert unknown is before
    assert after.measured.crop is not None
    found = {finding.name: finding for finding in after.findings if finding.check == "crop"}
    assert found["margin"].level is Level.NOTE
    assert {r.check for r in after.measured.readings} == {r.check for r in alone.readings}
    assert [r.name for r in after.measured.readings].count("margin") == 1
