"""The simulated bed obeys the physics it is there to show.

Doubling: D = h (tan t1 + tan t2), along the bed only (camera geometry of two line cameras under the glass). Shifts are
measured by scikit-image's phase correlation (Guizar-Sicairos, Thurman, Fienup 2008), which knows nothing of the bed.
"""

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from skimage.registration import phase_cross_correlation

from dawnproof.model import Bed
from dawnproof.rehearsal.artworks import Artwork, Medium, make
from dawnproof.rehearsal.bed import (
    GAMMA,
    Flatbed,
    Lid,
    Lift,
    Mishap,
    Placement,
    Samples,
    Streak,
    reference,
    scan,
)

BED = Bed("bed-a", 120.0, 60.0, (60.0,), 5.0, 0.5, "grey", 0.0)
EQUAL = (1.0, 1.0, 1.0)
QUIET = Flatbed(BED, 400, right_gain=EQUAL, right_sigma_px=0.42, read_noise=0.0, shot_noise=0.0)
SEAM_PX = round(60.0 * QUIET.px_mm)
AT = Placement(10.0, 8.0)


@pytest.fixture(scope="module")
def canvas() -> Artwork:
    return make(Medium.ACRYLIC, 44.0, 98.0, QUIET.px_mm, seed=21)


@pytest.fixture(scope="module")
def flat(canvas: Artwork) -> Samples:
    return scan(canvas, QUIET, AT, seed=1)


def lift_of(doubling_px: float) -> Lift:
    return Lift(doubling_px / QUIET.px_mm / 0.5, 20.0, 42.0, flank_mm=6.0)


def plateau(image: Samples) -> Samples:
    return image[round(22 * QUIET.px_mm) : round(40 * QUIET.px_mm)]


@pytest.mark.parametrize("doubling_px", [3, 8, 15])
def test_what_lies_left_of_the_stitch_comes_again_right_of_it(canvas: Artwork, doubling_px: int) -> None:
    rows = plateau(scan(canvas, QUIET, AT, seed=1, mishap=Mishap(lift=lift_of(doubling_px)))).astype(np.float32)
    left = rows[:, SEAM_PX - doubling_px : SEAM_PX]
    alike = [
        np.corrcoef(left.ravel(), rows[:, SEAM_PX - doubling_px + lag : SEAM_PX + lag].ravel())[0, 1]
        for lag in range(doubling_px // 2 + 1, 3 * doubling_px)
    ]
    assert int(np.argmax(alike)) + doubling_px // 2 + 1 == doubling_px
    assert max(alike) > 0.99


@pytest.mark.parametrize("doubling_px", [2.0, 8.0])
def test_each_camera_sees_half_the_doubling_sideways_and_nothing_vertically(
    canvas: Artwork, flat: Samples, doubling_px: float
) -> None:
    lifted = scan(canvas, QUIET, AT, seed=1, mishap=Mishap(lift=lift_of(doubling_px)))
    towards_axis = (30.0 - 40 / QUIET.px_mm) / 30.0  # the tangent falls from the stitch to the camera's axis
    window = np.outer(np.hanning(plateau(flat).shape[0]), np.hanning(80))
    for columns, sign in ((slice(SEAM_PX - 80, SEAM_PX), -1), (slice(SEAM_PX, SEAM_PX + 80), 1)):
        truth, seen = (_fine(plateau(image))[:, columns] * window for image in (flat, lifted))
        shift = _shift_px(seen, truth)
        assert shift[1] == pytest.approx(sign * towards_axis * doubling_px / 2, abs=0.15)
        assert shift[0] == pytest.approx(0.0, abs=0.1)


def test_where_nothing_is_lifted_nothing_changes(canvas: Artwork, flat: Samples) -> None:
    lifted = scan(canvas, QUIET, AT, seed=1, mishap=Mishap(lift=lift_of(8)))
    assert np.array_equal(lifted[: round(13 * QUIET.px_mm)], flat[: round(13 * QUIET.px_mm)])
    far = round((60 - 6 - 26 - 1) * QUIET.px_mm)
    assert np.array_equal(lifted[:, :far], flat[:, :far])
    assert not np.array_equal(plateau(lifted), plateau(flat))


def test_a_flat_work_shows_no_stitch(canvas: Artwork, flat: Samples) -> None:
    """With equal cameras the stitched scan is the one a single camera would make."""
    one = Flatbed(Bed("bed-a", 120.0, 60.0, lid="grey"), 400, read_noise=0.0, shot_noise=0.0)
    assert np.abs(scan(canvas, one, AT, seed=1).astype(int) - flat).max() <= 1


def test_a_blend_mixes_both_views_only_in_its_zone(canvas: Artwork) -> None:
    mishap = Mishap(lift=lift_of(8))
    cut = scan(canvas, QUIET, AT, seed=1, mishap=mishap)
    bed = Bed("bed-a", 120.0, 60.0, (60.0,), 5.0, 0.5, "grey", 1.0)
    soft = Flatbed(bed, 400, right_gain=EQUAL, right_sigma_px=0.42, read_noise=0.0, shot_noise=0.0)
    differs = np.flatnonzero((scan(canvas, soft, AT, seed=1, mishap=mishap) != cut).any(axis=(0, 2)))
    half = 0.5 * QUIET.px_mm
    assert SEAM_PX - half - 3 <= differs.min() < SEAM_PX <= differs.max() <= SEAM_PX + half + 3


def test_the_cameras_differ_by_the_gain_stated(canvas: Artwork) -> None:
    bright = Flatbed(BED, 400, right_gain=(1.05, 1.0, 1.0), right_sigma_px=0.42, read_noise=0.0, shot_noise=0.0)
    ratio = _linear(scan(canvas, bright, AT, seed=1)) / _linear(scan(canvas, QUIET, AT, seed=1))
    assert ratio[:, : SEAM_PX - 3].max() == pytest.approx(1.0, abs=1e-3)
    assert ratio[:, SEAM_PX + 3 :].mean(axis=(0, 1)) == pytest.approx([1.05, 1.0, 1.0], abs=2e-3)


def test_a_turned_work_is_lit_from_the_wrong_side() -> None:
    sheet = make(Medium.BARE_SHEET, 44.0, 98.0, QUIET.px_mm, seed=22)
    same, turned = (scan(sheet, QUIET, Placement(11.0, 8.0, turned=turn), seed=1) for turn in (False, True))
    inside = (slice(200, 700), slice(1000, 1600))
    first, second = (_fine(image)[inside] for image in (same, _turned_back(turned)))
    assert np.corrcoef(first.ravel(), second.ravel())[0, 1] < -0.5


def _turned_back(image: Samples) -> Samples:
    """Turned by 180 degrees about the middle of the work of the test above."""
    rows, columns = round(2 * (8.0 + 22.0) * QUIET.px_mm), round(2 * (11.0 + 49.0) * QUIET.px_mm)
    out = np.zeros_like(image)
    out[:rows, :columns] = image[:rows, :columns][::-1, ::-1]
    return out


@pytest.mark.parametrize("lid", Lid)
def test_the_lid_is_what_the_bed_says(canvas: Artwork, lid: Lid) -> None:
    flatbed = Flatbed(Bed("bed-a", 120.0, 60.0, (60.0,), 5.0, 0.5, lid.name.lower()), 400)
    corner = _linear(scan(canvas, flatbed, AT, seed=1))[:60, :60]
    assert float(corner.mean()) == pytest.approx(lid.value, rel=0.03, abs=2e-4)


@pytest.mark.parametrize("skew_deg", [-0.8, 0.0, 1.5])
def test_the_work_lies_where_it_was_put(skew_deg: float) -> None:
    """Outline against arithmetic: corner and slope of the upper edge, positive skew clockwise on screen."""
    red = make(Medium.RED_GROUND, 40.0, 90.0, QUIET.px_mm, seed=23)
    image = scan(red, QUIET, Placement(12.0, 9.0, skew_deg), seed=1)
    is_work = image[:, :, 1] < 0.8 * image[:, :, 0]
    columns = np.arange(round(20 * QUIET.px_mm), round(95 * QUIET.px_mm))
    slope, at_left = np.polyfit(columns + 0.5, np.argmax(is_work[:, columns], axis=0), 1)
    assert np.degrees(np.arctan(slope)) == pytest.approx(skew_deg, abs=0.03)
    assert at_left + slope * 12.0 * QUIET.px_mm == pytest.approx(9.0 * QUIET.px_mm, abs=1.0)


def test_a_part_runs_out_of_the_frame_on_its_inner_side(canvas: Artwork) -> None:
    """Moved by whole pixels to the right, the last columns show what lay so many columns further left before."""
    moved_px = 800
    image = _fine(scan(canvas, QUIET, Placement(10.0 + moved_px / QUIET.px_mm, 8.0), seed=1))
    before = _fine(scan(canvas, QUIET, AT, seed=1))
    rows = slice(round(20 * QUIET.px_mm), round(40 * QUIET.px_mm))
    at_frame, same = image[rows, -60:-12], before[rows, -60 - moved_px : -12 - moved_px]
    assert np.corrcoef(at_frame.ravel(), same.ravel())[0, 1] > 0.99


def test_noise_is_what_the_sensor_has() -> None:
    flatbed = Flatbed(BED, 400)
    noisy, still = _linear(reference(flatbed, seed=5)), _linear(reference(QUIET, seed=5))
    left = (slice(None), slice(0, SEAM_PX - 5))
    expected = np.sqrt(flatbed.read_noise**2 + flatbed.shot_noise**2 * still[left].mean())
    assert float((noisy - still)[left].std()) == pytest.approx(float(expected), rel=0.05)


def test_an_8_bit_scan_holds_only_bytes_in_wide_words(canvas: Artwork) -> None:
    image = scan(canvas, Flatbed(BED, 400), AT, seed=1, mishap=Mishap(bits=8))
    assert not (image % 257).any()
    sound = np.unique(scan(canvas, Flatbed(BED, 400), AT, seed=1))
    assert sound.size > 20_000


def test_too_much_light_ends_at_the_full_scale(canvas: Artwork, flat: Samples) -> None:
    image = scan(canvas, QUIET, AT, seed=1, mishap=Mishap(exposure=1.6))
    expected = np.minimum(_linear(flat) * 1.6, 1.0)
    assert np.abs(_linear(image) - expected).max() < 1e-3
    clipped = float((image == 65535).all(axis=2).mean())
    assert clipped == pytest.approx(float((expected >= 1.0).all(axis=2).mean()), rel=0.02)
    assert clipped > 0.01


def test_another_resolution_means_fewer_pixels_of_the_same_bed(canvas: Artwork, flat: Samples) -> None:
    image = scan(canvas, QUIET, AT, seed=1, mishap=Mishap(ppi=200))
    assert image.shape == (472, 945, 3)
    coarse = cv2.resize(_linear(flat)[:944, :1890], (945, 472), interpolation=cv2.INTER_AREA)
    assert np.abs(_linear(image) - coarse).mean() < 0.01


def test_a_streak_weakens_one_column_over_the_whole_height(canvas: Artwork, flat: Samples) -> None:
    image = scan(canvas, QUIET, AT, seed=1, mishap=Mishap(streak=Streak(33.0, 2.0)))
    column = round(33.0 * QUIET.px_mm)
    ratio = image[:, column].astype(float) / flat[:, column]
    assert ratio == pytest.approx(0.98, abs=2e-3)
    image[:, column] = flat[:, column]
    assert np.array_equal(image, flat)


def test_the_same_seed_gives_the_same_scan(canvas: Artwork) -> None:
    flatbed = Flatbed(BED, 400)
    first, second, other = (scan(canvas, flatbed, AT, seed=s) for s in (7, 7, 8))
    assert np.array_equal(first, second)
    assert not np.array_equal(first, other)


def _linear(image: Samples) -> npt.NDArray[np.float64]:
    return np.asarray((image / 65535.0) ** GAMMA, np.float64)


def _fine(image: Samples) -> npt.NDArray[np.float32]:
    grey = image.mean(axis=2).astype(np.float32)
    return np.asarray(grey - cv2.GaussianBlur(grey, (0, 0), 6), np.float32)


def _shift_px(seen: npt.NDArray[Any], truth: npt.NDArray[Any]) -> tuple[float, float]:
    """How far `truth` has to move, down and right, to lie on `seen`."""
    measure: Any = phase_cross_correlation
    shift, _, _ = measure(seen, truth, upsample_factor=50, normalization=None)
    return float(shift[0]), float(shift[1])
