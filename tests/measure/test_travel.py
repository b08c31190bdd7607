"""A work that slips during the scan, and rows that come twice or are lost."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import scans
import surfaces

from dawnproof.measure.band import Pixels
from dawnproof.measure.outline import whole_frame
from dawnproof.measure.row_jump import jump_between
from dawnproof.measure.travel import Travel
from dawnproof.model import Reading

ROWS, COLUMNS = 600, 800


def travelled(pixels: Pixels) -> tuple[Reading, Reading]:
    rows, columns = pixels.shape[:2]
    check = Travel(scans.frame_of(pixels, 400.0, scans.bed_of(pixels, 400.0)))
    for band in scans.bands(pixels, 128):
        check.see(band)
    wander, counted = check.readings(whole_frame(columns, rows))
    assert (wander.name, wander.unit, counted.name, counted.unit) == ("wander", "px", "rows", "count")
    return wander, counted


def slipped(surface: surfaces.Surface, row: int, shift_px: float, seed: int = 1) -> Pixels:
    """The work moves before the sensor reads that row; noise comes after."""
    moved = surface.copy()
    turn = np.array([[1, 0, shift_px], [0, 1, 0]], np.float64)
    size = (surface.shape[1], surface.shape[0] - row)
    moved[row:] = np.asarray(
        cv2.warpAffine(surface[row:], turn, size, flags=cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REFLECT)
    )
    return scans.make_scan(moved, None, noise=0.002, seed=seed).pixels


WORKS = {
    "strokes": surfaces.strokes(ROWS, COLUMNS, 51),
    "paper": surfaces.paper(ROWS, COLUMNS, 52),
    "weave": surfaces.weave(ROWS, COLUMNS, 53),
}


@pytest.mark.parametrize("work", WORKS)
@pytest.mark.parametrize(("row", "shift_px"), [(301, 3.4), (128, -6.0), (127, 12.5), (129, -2.5)])
def test_a_slip_is_measured_at_its_row(work: str, row: int, shift_px: float) -> None:
    still, counted = travelled(slipped(WORKS[work], row, 0.0))
    assert still.value == 0.0
    assert counted.value == 0.0
    wander, _ = travelled(slipped(WORKS[work], row, shift_px))
    assert wander.value == pytest.approx(abs(shift_px), abs=0.4)
    assert wander.where is not None
    assert wander.where.y_mm == pytest.approx(row * 25.4 / 400, abs=0.2)


def test_a_knock_there_and_back_reads_its_size() -> None:
    pixels = slipped(WORKS["paper"], 200, 5.0)
    back = slipped(WORKS["paper"], 0, 0.0, seed=2)
    pixels[320:] = back[320:]
    assert travelled(pixels)[0].value == pytest.approx(5.0, abs=0.4)


def test_doubled_rows_are_counted_and_placed() -> None:
    pixels = slipped(WORKS["paper"], 0, 0.0)
    doubled = np.concatenate([pixels[:250], pixels[247:]])
    _, counted = travelled(doubled)
    assert counted.value == 3.0
    assert counted.where is not None
    assert counted.where.y_mm == pytest.approx(250 * 25.4 / 400, abs=0.1)
    assert counted.certain


def test_a_lost_row_is_counted() -> None:
    pixels = slipped(WORKS["strokes"], 0, 0.0)
    pixels[333] = 0
    assert travelled(pixels)[1].value == 1.0


def test_an_enlarged_scan_is_not_called_doubled_rows() -> None:
    pixels = np.repeat(slipped(WORKS["paper"], 0, 0.0)[:300], 2, axis=0)
    _, counted = travelled(pixels)
    assert counted.value is None
    assert "enlarged" in counted.why


def test_a_blank_scan_cannot_be_followed() -> None:
    blank = scans.make_scan(surfaces.ground(ROWS, COLUMNS, (0.9, 0.9, 0.9)), None, noise=0.003, seed=3).pixels
    wander, counted = travelled(blank)
    assert wander.value is None
    assert wander.why
    assert counted.value == 0.0


def test_what_could_not_have_been_seen_is_undecided_and_not_sound() -> None:
    """A soft ground nearly as even as its noise: a slip leaves nothing to see, and so its absence does not either."""
    soft = surfaces.ground(ROWS, COLUMNS, (0.8, 0.8, 0.8))
    soft = soft * (1 + 0.0005 * surfaces.band_noise(ROWS, COLUMNS, 6.0, 40.0, 55)[..., None])
    for shift_px in (0.0, 5.0):
        wander, _ = travelled(slipped(soft.astype(np.float32), 300, shift_px))
        assert wander.value is None
        assert "too little detail" in wander.why


def test_a_sound_reading_is_as_sure_as_slips_would_have_been_seen() -> None:
    work = WORKS["paper"].copy()
    work[: ROWS // 3] = work[0, 0]
    wander, _ = travelled(slipped(work, 0, 0.0))
    assert wander.value == 0.0
    assert wander.sure == pytest.approx(2 / 3, abs=0.06)
    work[: 2 * ROWS // 3] = work[0, 0]
    assert travelled(slipped(work, 0, 0.0))[0].value is None


def test_faint_detail_shows_a_slip() -> None:
    """Detail weaker than its noise."""
    faint = surfaces.ground(ROWS, 2 * COLUMNS, (0.6, 0.6, 0.6))
    faint = faint + 0.0015 * surfaces.band_noise(ROWS, 2 * COLUMNS, 2.0, 12.0, 56)[..., None]
    wander, _ = travelled(slipped(faint.astype(np.float32), 300, -6.0))
    assert wander.value == pytest.approx(6.0, abs=0.5)


@pytest.mark.parametrize("seed", range(4))
def test_a_pattern_that_jumps_by_half_of_its_period_proves_no_slip(seed: int) -> None:
    """Courses of bricks: each may as well have moved to the other side, and by chance one looks as if it had not."""
    x, y = np.arange(1000)[None], np.arange(400)[:, None]
    joints = (x + 20 * (y // 40 % 2)) % 40 < 4
    grain = np.random.default_rng(seed).normal(0, 200, joints.shape)
    wander, _ = travelled(np.repeat((30000 + 8000 * joints + grain).astype(np.uint16)[..., None], 3, axis=2))
    assert wander.value is None or wander.value == 0.0 or not wander.certain


def test_a_printed_repeat_gives_no_jump() -> None:
    assert travelled(slipped(surfaces.printed(ROWS, COLUMNS, 54), 0, 0.0))[0].value in {0.0, None}


def test_slanted_content_is_no_jump() -> None:
    """Stripes at 45 degrees move one pixel sideways with every row, and always did."""
    y, x = np.mgrid[0:4, 0:900]
    rows = (30000 + 20000 * np.sin((x - y) / 9.0 + 3 * np.sin((x - y) / 140.0))).astype(np.uint16)
    jump = jump_between(rows, 2)
    assert jump is None or abs(jump.shift_px) < 0.1


def test_a_clipped_lid_with_specks_and_a_streak_is_no_repeat() -> None:
    pixels = np.full((ROWS, COLUMNS, 3), 65535, np.uint16)
    pixels[:, 300] = 65000
    rng = np.random.default_rng(9)
    for row in rng.integers(0, ROWS, 40):
        pixels[row, rng.integers(0, COLUMNS)] = 50000
    wander, counted = travelled(pixels)
    assert counted.value == 0.0
    assert wander.value is None
