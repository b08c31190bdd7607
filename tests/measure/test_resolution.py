"""Resolution readings: header facts, plausible sizes, enlarged scans, noise and halos of known size."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from scans import Lid, bands, bed_of, code, frame_of, make_scan
from skimage.transform import resize
from surfaces import drawing, laid, paper, strokes, wash, weave

from dawnproof.measure.border import BorderCheck
from dawnproof.measure.outline import Outline, whole_frame
from dawnproof.measure.resolution import ResolutionCheck
from dawnproof.model import Bed, Frame, Level, Reading
from dawnproof.policy import Context, judge_scan
from dawnproof.rulebook import load_book

Pixels = npt.NDArray[np.unsignedinteger]


def read(pixels: Pixels, frame: Frame | None = None, outline: Outline | None = None) -> dict[str, Reading]:
    frame = frame or frame_of(pixels, 400.0, bed_of(pixels, 400.0))
    check = ResolutionCheck(frame)
    for band in bands(pixels, 90):
        check.see(band)
    outline = outline or whole_frame(frame.width_px, frame.height_px)
    return {r.name: r for r in check.readings(outline)}


def scan_of(surface: npt.NDArray[np.float32], noise: float = 0.003) -> Pixels:
    return make_scan(surface, None, noise=noise, seed=3).pixels


def enlarged(pixels: Pixels, x: float, y: float, way: int) -> Pixels:
    return code(np.asarray(cv2.resize(pixels.astype(np.float32) / 65535, None, fx=x, fy=y, interpolation=way)))


def test_header_facts_and_their_absence() -> None:
    pixels = scan_of(strokes(300, 300, 1))
    found = read(pixels, replace(frame_of(pixels, 600.0, bed_of(pixels, 600.0)), ppi_y=599.9997))
    assert (found["ppi_x"].value, found["ppi_y"].value) == (600.0, 600.0)
    none = read(pixels, frame_of(pixels, None, bed_of(pixels, 600.0)))
    assert none["ppi_x"].value is none["scale_plausible"].value is None
    assert "no resolution" in none["ppi_x"].why


def test_scan_larger_than_its_bed_is_implausible() -> None:
    pixels = scan_of(strokes(300, 500, 1))
    bed = Bed("bed-a", 600.0, 450.0)
    assert read(pixels, frame_of(pixels, 25.0, bed))["scale_plausible"].value == 1.0
    found = read(pixels, frame_of(pixels, 20.0, bed))["scale_plausible"]
    assert found.value == 0.0
    assert "larger than bed-a" in found.why


@pytest.mark.parametrize("ppi", [4800.0, 6400.0, 9600.0, 12_800.0])
def test_what_small_flatbeds_really_write_is_believed(ppi: float) -> None:
    pixels = scan_of(strokes(300, 300, 1))
    found = read(pixels, frame_of(pixels, ppi, Bed("bed-a", 216.0, 297.0)))
    assert (found["ppi_x"].value, found["ppi_y"].value, found["scale_plausible"].value) == (ppi, ppi, 1.0)


@pytest.mark.parametrize("side", ["ppi_x", "ppi_y"])
def test_a_header_beyond_any_scanner_is_no_good_resolution(side: str) -> None:
    pixels = scan_of(strokes(300, 300, 1))
    frame = frame_of(pixels, 600.0, Bed("bed-a", 600.0, 450.0))
    wild = replace(frame, ppi_x=None, header_ppi=(30_000.0, 600.0))
    if side == "ppi_y":
        wild = replace(frame, ppi_y=None, header_ppi=(600.0, 30_000.0))
    found = read(pixels, wild)
    assert (found[side].value, found["scale_plausible"].value) == (None, 0.0)
    levels = {f.name: f for f in judge_scan(found.values(), load_book("fine-art"), Context())}
    assert levels[side].level is Level.UNDECIDED, "neither passed as fine nor a fault"
    assert "30,000 ppi" in levels[side].text
    assert levels["scale_plausible"].level is Level.NOTE
    other = "ppi_y" if side == "ppi_x" else "ppi_x"
    assert (found[other].value, levels[other].level) == (600.0, Level.SOUND)


def test_work_against_its_stated_size() -> None:
    scan = make_scan(strokes(500, 600, 2), Lid(margins_px=(80, 80, 80, 80)))
    check = BorderCheck(scan.frame)
    for band in bands(scan.pixels):
        check.see(band)
    outline = check.outline()
    mm = 25.4 / 400
    right = replace(scan.frame, stated_width_mm=600 * mm, stated_height_mm=500 * mm)
    assert read(scan.pixels, right, outline)["scale_plausible"].value == 1.0
    wrong = replace(scan.frame, stated_width_mm=300 * mm, stated_height_mm=250 * mm)
    found = read(scan.pixels, wrong, outline)["scale_plausible"]
    assert found.value == 0.0
    assert "job list" in found.why


@pytest.mark.parametrize("make", [paper, strokes, wash, drawing, laid, weave])
def test_native_scans_hold_their_resolution(make: object) -> None:
    found = read(scan_of(make(800, 1000, 7)))  # type: ignore[operator]
    for name in ("detail_x", "detail_y"):
        assert float(found[name].value or 0) == 1.0
        assert found[name].why == ""


def test_soft_lens_is_not_accused() -> None:
    soft = np.asarray(cv2.GaussianBlur(strokes(800, 1000, 8), (0, 0), 1.5), np.float32)
    assert read(scan_of(soft))["detail_x"].value == 1.0


@pytest.mark.parametrize("factor", [1.25, 1.5, 2.0])
@pytest.mark.parametrize("way", [cv2.INTER_LINEAR, cv2.INTER_CUBIC, cv2.INTER_LANCZOS4])
def test_enlarged_scans_are_found(factor: float, way: int) -> None:
    found = read(enlarged(scan_of(strokes(700, 800, 9)), factor, factor, way))
    for name in ("detail_x", "detail_y"):
        assert found[name].value == pytest.approx(1 / factor, abs=0.02)
        assert found[name].certain


def test_enlarged_along_the_travel_only() -> None:
    found = read(enlarged(scan_of(wash(700, 800, 10)), 1.0, 1.4, cv2.INTER_CUBIC))
    assert found["detail_x"].value == 1.0
    assert found["detail_y"].value == pytest.approx(1 / 1.4, abs=0.02)


def test_enlarged_by_another_library_and_sharpened() -> None:
    pixels = scan_of(laid(700, 800, 11))
    large = resize(pixels / 65535, (1120, 1280, 3), order=3, anti_aliasing=False)
    large = large + 0.5 * (large - cv2.GaussianBlur(large, (0, 0), 1.0))
    assert read(code(large.astype(np.float32)))["detail_x"].value == pytest.approx(0.625, abs=0.02)


@pytest.mark.parametrize("noise", [0.0008, 0.002, 0.006])
def test_noise_is_its_known_deviation(noise: float) -> None:
    found = read(scan_of(wash(700, 800, 12), noise))["noise"]
    assert found.value == pytest.approx(100 * noise, rel=0.12)


def sharpened(amount: float) -> Pixels:
    """A flat shape with slanted sides, blurred as a lens does (0.8 px), then sharpened by an unsharp mask."""
    fine = np.full((1600, 1600), 0.3, np.float32)
    corners = np.array([[[130, 200], [1450, 90], [1520, 1440], [240, 1510]]])
    cv2.fillPoly(fine, corners, 0.7)  # type: ignore[call-overload]
    fine = np.asarray(cv2.GaussianBlur(np.kron(fine, np.ones((2, 2), np.float32)), (0, 0), 0.8 * 4))
    soft = np.asarray(cv2.resize(fine, (800, 800), interpolation=cv2.INTER_AREA))
    sharp = soft + amount * (soft - np.asarray(cv2.GaussianBlur(soft, (0, 0), 1.5)))
    noise = np.random.default_rng(1).normal(0, 0.002, (*sharp.shape, 3))
    return code((sharp[:, :, None] + noise).astype(np.float32))


def overshoot(amount: float) -> float:
    """The same edge in one dimension, sixteen times finer."""
    edge = np.repeat([0.0, 1.0], 800)[None]
    soft = np.asarray(cv2.blur(cv2.GaussianBlur(edge, (0, 0), 0.8 * 16), (16, 1)))  # lens, then pixel
    sharp = soft + amount * (soft - np.asarray(cv2.GaussianBlur(soft, (0, 0), 1.5 * 16)))
    return float(sharp.max() - 1)


@pytest.mark.parametrize("amount", [0.5, 1.0, 2.0])
def test_halo_is_the_overshoot_of_the_edge(amount: float) -> None:
    found = read(sharpened(amount))["halo"]
    assert found.value == pytest.approx(100 * overshoot(amount), abs=2.0)


def test_no_halo_without_sharpening_and_none_without_edges() -> None:
    assert float(read(sharpened(0.0))["halo"].value or 0) < 1.5
    assert read(scan_of(wash(600, 600, 1)))["halo"].value is None


def test_tiny_scan_cannot_be_judged() -> None:
    found = read(scan_of(strokes(40, 50, 1)))
    assert found["detail_x"].value is None
    assert found["detail_x"].why
