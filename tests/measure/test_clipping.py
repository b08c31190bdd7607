"""Clipping against plain numpy counts inside the same outline, and regions against their known area."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scans import Camera, Lid, bands, bed_of, code, frame_of, make_scan, see
from surfaces import drawing, gilded, ground, paper, strokes, varnished

from dawnproof.measure.border import BorderCheck
from dawnproof.measure.clipping import ClippingCheck
from dawnproof.measure.outline import Outline, whole_frame
from dawnproof.model import Frame, Reading

PPI = 400.0
MM2 = (25.4 / PPI) ** 2


def frame_for(pixels: npt.NDArray[np.unsignedinteger]) -> Frame:
    return frame_of(pixels, PPI, bed_of(pixels, PPI))


def read(
    pixels: npt.NDArray[np.unsignedinteger], outline: Outline | None = None, band_rows: int = 100
) -> dict[str, Reading]:
    check = ClippingCheck(frame_for(pixels))
    for band in bands(pixels, band_rows):
        check.see(band)
    outline = outline or whole_frame(pixels.shape[1], pixels.shape[0])
    return {reading.name: reading for reading in check.readings(outline)}


def noisy(rows: int, columns: int, seed: int = 0, tone: float = 0.5) -> npt.NDArray[np.uint16]:
    rng = np.random.default_rng(seed)
    values = rng.normal(tone, 0.03, (rows, columns, 3)) * 65535
    return np.clip(np.rint(values), 3000, 62000).astype(np.uint16)


def plain_count(pixels: npt.NDArray[np.unsignedinteger], outline: Outline, channel: int, value: int) -> float:
    spans = [outline.rows_span(row) for row in range(len(pixels))]
    inside = sum(right - left for left, right in spans)
    hit = sum(int((row[left:right, channel] == value).sum()) for row, (left, right) in zip(pixels, spans, strict=True))
    return 100 * hit / inside


def outlined(pixels: npt.NDArray[np.unsignedinteger]) -> Outline:
    check = BorderCheck(frame_for(pixels))
    for band in bands(pixels, 130):
        check.see(band)
    return check.outline()


def test_counts_equal_a_plain_count_inside_a_skewed_work() -> None:
    work = strokes(700, 900, 3)
    work[100:240, 300:420] = 1.2
    work[300:310] = -0.2
    work[400:500, 200:300, 0] = 1.5
    scan = make_scan(work, Lid("white", (90, 80, 70, 95), skew_deg=1.7), seed=1)
    outline = outlined(scan.pixels)
    found = read(scan.pixels, outline, band_rows=37)
    assert outline.found
    for channel, name in enumerate(("red", "green", "blue")):
        for side, value in (("high", 65535), ("low", 0)):
            expected = plain_count(scan.pixels, outline, channel, value)
            assert found[f"{side}_{name}"].value == pytest.approx(expected, abs=5e-5)
    assert float(found["high_red"].value or 0) > float(found["high_green"].value or 0) > 1.5


def test_a_lid_blown_out_around_the_work_counts_for_nothing() -> None:
    work = np.minimum(strokes(600, 800, 4), 0.7)
    scan = make_scan(work, Lid("white", (90, 80, 70, 95), skew_deg=-0.8), seed=2)
    pixels = np.minimum(scan.pixels * 1.15, 65535).astype(np.uint16)
    assert (pixels == 65535).all(axis=2).mean() > 0.2
    outline = outlined(pixels)
    assert outline.found
    found = read(pixels, outline)
    assert found["high_red"].value == 0.0
    assert found["region"].value == 0.0


@settings(max_examples=25, deadline=None)
@given(
    left=st.integers(0, 150), top=st.integers(0, 150), width=st.integers(4, 60), height=st.integers(4, 60),
    band_rows=st.integers(1, 230), eight=st.booleans(),
)  # fmt: skip
def test_region_of_a_rectangle_is_its_area_wherever_bands_cut(
    left: int, top: int, width: int, height: int, band_rows: int, eight: bool
) -> None:
    pixels = noisy(230, 240, tone=0.97)
    pixels[top : top + height, left : left + width] = 65535
    if eight:
        pixels = (pixels >> 8).astype(np.uint8)
    found = read(pixels, band_rows=band_rows)
    height, width = min(height, 230 - top), min(width, 240 - left)
    assert found["region"].value == pytest.approx(width * height * MM2, abs=6e-4)
    where = found["region"].where
    assert where is not None
    assert where.x_mm <= left * 25.4 / PPI + 1e-3
    assert where.x_mm + where.width_mm >= (left + width) * 25.4 / PPI - 1e-3


def test_flat_spike_at_the_images_own_extreme_is_clipping() -> None:
    pixels = noisy(300, 300)
    pixels[50:150, 60:160] = np.minimum(np.random.default_rng(1).normal(64000, 900, (100, 100, 3)), 63210).astype(
        np.uint16
    )
    found = read(pixels)
    expected = 100 * (pixels[:, :, 0] == 63210).mean()
    assert expected > 5
    assert found["high_red"].value == pytest.approx(expected, abs=5e-5)
    assert "63210" in found["high_red"].why
    assert found["low_red"].value == 0.0


def test_ordinary_extreme_is_no_clipping() -> None:
    rng = np.random.default_rng(2)
    bright = np.rint(rng.normal(52000, 400, (400, 400, 3))).astype(np.uint16)
    found = read(bright)
    assert {name: r.value for name, r in found.items() if r.value != 0.0} == {}
    assert all(r.value == 0.0 for r in read((bright >> 8).astype(np.uint8)).values())


def test_saturated_pigment_is_one_channel_and_no_region() -> None:
    pixels = noisy(300, 300)
    pixels[100:200, 100:200, 0] = 65535
    found = read(pixels)
    assert found["high_red"].value == pytest.approx(100 / 9, abs=1e-3)
    assert found["high_green"].value == found["region"].value == 0.0


def test_glints_are_set_apart_from_clipped_paper() -> None:
    pixels = noisy(500, 500, tone=0.35)
    rng = np.random.default_rng(3)
    for y, x in rng.integers(20, 470, (40, 2)):
        pixels[y : y + 9, x : x + 11] = 65535
    glints = read(pixels)
    assert glints["region"].value == 0.0
    assert "glint" in glints["region"].why
    assert float(glints["high_red"].value or 0) > 1.0
    ramp = 60000 + 20.0 * np.arange(500)[None, :, None] + rng.normal(0, 150, (60, 500, 3))
    pixels[200:260] = np.clip(np.rint(ramp), 0, 65535).astype(np.uint16)
    region = read(pixels)["region"]
    clipped = (pixels[200:260] == 65535).all(axis=2).sum() * MM2
    assert region.value == pytest.approx(clipped, rel=0.02)


@pytest.mark.parametrize("seed", range(4))
def test_varnish_and_metal_leaf_are_not_called_clipped(seed: int) -> None:
    """Counted to the pixel all the same."""
    painted = strokes(400, 500, seed) * np.float32(0.9)
    for work in (varnished(painted, seed), gilded(painted, seed, facet_px=5.0)):
        pixels = code(see(work, Camera(noise=0.002, blur_px=0.5), 0.0, 0.0, seed))
        found = read(pixels)
        assert float(found["region"].value or 0) < 4.0
        assert found["high_red"].value == pytest.approx(100 * (pixels[..., 0] == 65535).mean(), abs=1e-4)


def test_paper_blown_out_between_the_lines_of_a_drawing_is_clipped() -> None:
    work = drawing(400, 500, 3, lines=120) * np.float32(1.35)
    pixels = code(see(work, Camera(noise=0.003, blur_px=0.5), 0.0, 0.0, 3))
    assert float(read(pixels)["region"].value or 0) > 25.0


def test_black_without_drawing_is_a_region_too() -> None:
    pixels = noisy(300, 300, tone=0.1)
    pixels[50:120, 60:160] = 0
    found = read(pixels)
    assert found["region"].value == pytest.approx(7000 * MM2, abs=6e-4)
    assert "black" in found["region"].why
    assert found["low_blue"].value == pytest.approx(100 * 7000 / 90000, abs=1e-3)


def test_grey_scan_gives_its_one_channel_for_all_and_says_so() -> None:
    pixels = noisy(200, 200)[:, :, :1].copy()
    pixels[:20] = 65535
    found = read(pixels)
    for name in ("high_red", "high_green", "high_blue"):
        assert found[name].value == pytest.approx(10.0)
        assert "grey scan" in found[name].why


def test_a_wholly_white_scan_is_counted_in_bounded_memory() -> None:
    check = ClippingCheck(replace(frame_for(np.zeros((8, 1200, 3), np.uint16)), height_px=6000))
    white = np.full((250, 1200, 3), 65535, np.uint16)
    for band in bands(np.broadcast_to(white, (24, 250, 1200, 3)).reshape(-1, 1200, 3), 250):
        check.see(band)
    found = {r.name: r for r in check.readings(whole_frame(1200, 6000))}
    assert found["high_red"].value == 100.0
    assert found["region"].value == pytest.approx(1200 * 6000 * MM2, rel=1e-6)
    assert check.kept_bytes < 1200 * 6000  # of 43 million bytes seen


def test_paper_near_the_end_is_not_clipped() -> None:
    scan = make_scan(paper(500, 600, 5, white=0.97), None, noise=0.002)
    found = read(scan.pixels)
    plain = 100 * (scan.pixels[:, :, 0] == 65535).mean()
    assert found["high_red"].value == pytest.approx(plain, abs=5e-5)


def test_nothing_inside_the_outline_is_said() -> None:
    empty = replace(whole_frame(240, 230), spans=np.array([[np.nan, np.nan]]))
    found = read(noisy(230, 240), empty)
    assert all(r.value is None and r.why for r in found.values())
    assert len(found) == 7


def test_flat_colour_without_noise_is_no_spike_when_it_is_the_whole_work() -> None:
    flat = np.rint(ground(200, 200, (0.8, 0.8, 0.8)) * 65535).astype(np.uint16)
    assert read(flat)["region"].value == 0.0
