"""An overview tells whether parts lie where the join put them: simulated overviews, right ones and wrong ones."""

import cv2
import numpy as np
import numpy.typing as npt
import parts as made
import pytest
from bench.join_scene import ArraySource

from dawnproof.assemble.geometry import compare
from dawnproof.assemble.join import plan_join
from dawnproof.assemble.parts import Geometry, JoinPart
from dawnproof.assemble.view import View
from dawnproof.model import Box, Level

PPI = 40.0  # so that the small scene stands for a work of 400 mm
WIDE, HIGH = made.COLUMNS, made.ROWS
Colour = npt.NDArray[np.float32]


@pytest.fixture(scope="module")
def scene() -> Colour:
    return made.scene().lit()


def as_scan(values: npt.NDArray[np.floating]) -> ArraySource:
    return ArraySource(np.rint(np.clip(values, 0, 1) * 65535).astype(np.uint16))


def reduced(scene: Colour, width: int = 320, gamma: float = 1.3) -> Colour:
    """A scan at a lower resolution, blurred and in another tone."""
    small = cv2.resize(scene, (width, round(width * scene.shape[0] / scene.shape[1])), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(small, (0, 0), 0.6) ** gamma, np.float32)


def photographed(scene: Colour, tilt_deg: tuple[float, float], quarters: int = 0, lens: float = 0.0) -> Colour:
    """As a pinhole camera 1.8 long sides away sees it, tilted about both axes, with a radial lens term (of the half
    long side), on a grey wall; turned by quarter turns."""
    ax, ay = np.deg2rad(tilt_deg)
    turn = cv2.Rodrigues(np.array([ax, 0.0, 0.0]))[0] @ cv2.Rodrigues(np.array([0.0, ay, 0.0]))[0]
    flat = np.array([[turn[0, 0], turn[0, 1], 0], [turn[1, 0], turn[1, 1], 0], [turn[2, 0] / 1.8, turn[2, 1] / 1.8, 1]])
    size = 520
    y, x = (np.mgrid[0:size, 0:size] - (size - 1) / 2) / 400
    bent = 1 + lens * (x * x + y * y) / 0.25
    q = np.stack([x / bent, y / bent, np.ones_like(x)], axis=2) @ np.linalg.inv(flat).T
    across = q[:, :, 0] / q[:, :, 2] * WIDE + (WIDE - 1) / 2
    along = q[:, :, 1] / q[:, :, 2] * WIDE + (HIGH - 1) / 2
    soft = cv2.GaussianBlur(scene, (0, 0), 0.8)
    wall = (0.4, 0.4, 0.4, 0.4)
    seen = cv2.remap(soft, across.astype(np.float32), along.astype(np.float32), cv2.INTER_LINEAR, borderValue=wall)
    noise = np.random.default_rng(3).normal(0, 0.008, seen.shape)
    return np.asarray(np.rot90(seen**0.8 + noise, quarters), np.float32)


def held_against(
    overview: Colour, scene: Colour, moved: tuple[float, float] = (0.0, 0.0), box: Box | None = None, **boxes: Box
) -> Geometry:
    """Two halves of the scene as they were cut, the right one joined away from its place by `moved` px."""
    cut = {"left": (0, 360), "right": (280, WIDE)}
    views = [
        View(JoinPart(n, "LR"[i], as_scan(scene[:, a:b]), PPI, box=boxes.get(n)))
        for i, (n, (a, b)) in enumerate(cut.items())
    ]
    places = [np.array([[1.0, 0, 0], [0, 1, 0]]), np.array([[1.0, 0, 280 + moved[0]], [0, 1, moved[1]]])]
    whole = JoinPart("the overview", "overview", as_scan(overview), PPI / 2, box=box)
    return compare(whole, views, places, (WIDE, HIGH), PPI)


@pytest.mark.parametrize("tilt", [(0.0, 0.0), (7.0, -6.0), (-14.0, 10.0)])
def test_a_photograph_under_a_slant_agrees(scene: Colour, tilt: tuple[float, float]) -> None:
    found = held_against(photographed(scene, tilt, quarters=1, lens=0.02), scene)
    assert found.level is Level.SOUND, found.text
    assert found.largest_mm is not None
    assert found.largest_mm < 0.5


def test_a_reduced_scan_agrees_and_says_how_closely(scene: Colour) -> None:
    found = held_against(reduced(scene), scene)
    assert found.level is Level.SOUND
    assert found.text.startswith("the overview the overview shows every part where the join put it")


@pytest.mark.parametrize("tilt", [(0.0, 0.0), (7.0, -6.0)])
def test_a_part_joined_away_from_its_place_contradicts_by_its_distance(
    scene: Colour, tilt: tuple[float, float]
) -> None:
    found = held_against(photographed(scene, tilt), scene, moved=(-8.0, 0.0))
    assert found.level is Level.FAULT
    assert found.largest_mm == pytest.approx(8 / PPI * 25.4, rel=0.1)
    assert "right lies" in found.text
    assert "further right" in found.text


def test_a_doubled_band_of_the_joined_work_contradicts(scene: Colour) -> None:
    short = np.concatenate([scene[:, :320], scene[:, 340:]], axis=1)
    found = held_against(reduced(np.ascontiguousarray(short)), scene)
    assert found.level is Level.FAULT
    assert found.largest_mm == pytest.approx(20 / PPI * 25.4, rel=0.1)


def test_halves_that_stand_the_other_way_round_contradict(scene: Colour) -> None:
    swapped = np.concatenate([scene[:, 320:], scene[:, :320]], axis=1)
    found = held_against(reduced(np.ascontiguousarray(swapped)), scene)
    assert found.level is Level.FAULT
    assert "mm from the place where it was joined" in found.text


def test_a_half_that_stands_on_its_head_contradicts(scene: Colour) -> None:
    turned = np.concatenate([scene[:, :320], scene[::-1, :319:-1]], axis=1)
    found = held_against(reduced(np.ascontiguousarray(turned)), scene)
    assert found.level is Level.FAULT
    assert "turned by" in found.text


def test_a_work_squeezed_in_one_direction_contradicts(scene: Colour) -> None:
    squeezed = np.asarray(cv2.resize(reduced(scene), (320, 200), interpolation=cv2.INTER_AREA), np.float32)
    found = held_against(squeezed, scene)
    assert found.level is Level.FAULT
    assert "width to height differ by" in found.text
    said_percent = float(found.text.split(" %")[0].split()[-1])
    assert said_percent == pytest.approx(100 * (320 * HIGH / WIDE / 200 - 1), abs=1.5)


def test_another_work_is_undecided_with_the_reason(scene: Colour) -> None:
    other = cv2.imread(str(made.DATA / "textures/brick.png"), cv2.IMREAD_COLOR)
    assert other is not None
    found = held_against(np.asarray(other[:, :, ::-1] / 255, np.float32), scene)
    assert found.level is Level.UNDECIDED
    assert "does not show what the parts show" in found.text


def test_a_missing_piece_is_a_fault_where_the_parts_run_out_of_their_frame(scene: Colour) -> None:
    """The overview shows the whole; the parts end at 520 of its 640 columns."""
    overview = reduced(scene)
    short = np.ascontiguousarray(scene[:, :520])
    inside = {"left": Box(0, 0, 360, HIGH), "right": Box(0, 0, 240, HIGH)}
    found = held_against_short(overview, short, inside)
    assert found.level is Level.FAULT
    assert "more of the work at the right" in found.text
    assert "a part is missing" in found.text
    bordered = inside | {"right": Box(0, 0, 236, HIGH)}
    assert held_against_short(overview, short, bordered).level is Level.UNDECIDED


def held_against_short(overview: Colour, short: Colour, boxes: dict[str, Box]) -> Geometry:
    views = [
        View(JoinPart(n, n, as_scan(short[:, a:b]), PPI, box=boxes[n]))
        for n, (a, b) in {"left": (0, 360), "right": (280, 520)}.items()
    ]
    places = [np.array([[1.0, 0, x], [0, 1, 0]]) for x in (0.0, 280.0)]
    box = Box(0, 0, overview.shape[1], overview.shape[0])
    whole = JoinPart("the overview", "overview", as_scan(overview), PPI / 2, box=box)
    return compare(whole, views, places, (520, HIGH), PPI)


def test_a_frame_around_the_work_on_the_overview_is_no_missing_piece(scene: Colour) -> None:
    bordered = cv2.copyMakeBorder(reduced(scene), 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=(0.1, 0.1, 0.1, 0.1))
    framed = np.asarray(bordered, np.float32)
    box = Box(0, 0, framed.shape[1], framed.shape[0])
    found = held_against(framed, scene, box=box, left=Box(0, 0, 360, HIGH), right=Box(0, 0, 360, HIGH))
    assert found.level is Level.SOUND, found.text


def test_the_plan_carries_what_the_overview_says(scene: Colour) -> None:
    left, right = made.halves(110, 0.8)
    parts = made.pair(made.scanned(left), made.scanned(right, 2))
    parts.append(JoinPart("whole.tif", "overview", as_scan(reduced(scene)), 150.0))
    plan = plan_join(parts)
    assert len(plan.parts) == 2
    assert plan.geometry is not None
    assert plan.geometry.level is Level.SOUND
    assert plan_join(parts[:2]).geometry is None
