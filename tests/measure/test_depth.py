"""Bits in use, against data quantised in every usual way, and against sound data that must not be accused."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from surfaces import SHARED, paper, strokes, wash

from dawnproof.measure.depth import proven_bits

Values = npt.NDArray[np.float64]  # 0 to 1


def tones(seed: int, count: int = 600_000) -> Values:
    """Tones of a picture with grain: a few broad heaps, as a scan has them."""
    rng = np.random.default_rng(seed)
    heaps = rng.uniform(0.1, 0.9, 6)
    values = rng.normal(rng.choice(heaps, count), rng.uniform(0.03, 0.15))
    return np.clip(values, 0, 1)


def quantised(values: Values, bits: int, way: str) -> npt.NDArray[np.int64]:
    codes = np.rint(values * (2**bits - 1)).astype(np.int64)
    if way == "shifted":
        return np.asarray(codes << (16 - bits))
    if way == "repeated":
        return np.asarray((codes << (16 - bits)) | (codes >> (2 * bits - 16)))
    if way == "centred":
        return np.asarray((codes << (16 - bits)) + (1 << (15 - bits)))
    scaled = codes * 65535 / (2**bits - 1)
    return np.asarray(np.floor(scaled) if way == "floored" else np.rint(scaled), np.int64)


def bits_of(values: npt.NDArray[np.int64]) -> int | None:
    return proven_bits(np.bincount(values, minlength=65536))


@pytest.mark.parametrize("bits", [8, 10, 12, 14])
@pytest.mark.parametrize("way", ["shifted", "repeated", "centred", "floored", "rounded"])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_quantised_data_reads_its_bits(bits: int, way: str, seed: int) -> None:
    assert bits_of(quantised(tones(seed, 30_000), bits, way)) == bits


@pytest.mark.parametrize("bits", [8, 10, 12])
@pytest.mark.parametrize("power", [1.3, 0.8, 1 / 1.8])
def test_data_through_a_tone_curve_reads_its_bits(bits: int, power: float) -> None:
    codes = np.rint(np.random.default_rng(bits).uniform(0, 1, 900_000) * (2**bits - 1))
    curved = np.rint((codes / (2**bits - 1)) ** power * 65535).astype(np.int64)
    assert bits_of(curved) == bits


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("power", [1.0, 1 / 1.8, 1 / 2.2, 2.2])
def test_sound_data_is_not_accused_even_through_a_curve(seed: int, power: float) -> None:
    sixteen = np.rint(tones(seed) * 65535)
    assert bits_of(np.rint((sixteen / 65535) ** power * 65535).astype(np.int64)) == 16


def test_narrow_dark_picture_is_not_accused() -> None:
    dark = np.rint(np.random.default_rng(0).normal(0.004, 0.0006, 500_000) * 65535).astype(np.int64)
    assert bits_of(dark) == 16


def test_resampling_after_quantisation_proves_nothing() -> None:
    rng = np.random.default_rng(1)
    eight = np.rint(cv2.GaussianBlur(rng.uniform(0, 1, (600, 600)), (0, 0), 2) * 255) * 257
    turned = cv2.warpAffine(eight, cv2.getRotationMatrix2D((300, 300), 1.0, 1.0), (600, 600), flags=cv2.INTER_CUBIC)
    assert bits_of(np.clip(np.rint(turned), 0, 65535).astype(np.int64)[50:550, 50:550].ravel()) == 16


def test_too_little_to_tell() -> None:
    values = quantised(tones(1), 8, "rounded")
    assert bits_of(values[:9_000]) is None
    assert bits_of(np.full(50_000, 257 * 90)) is None
    assert bits_of(np.zeros(50_000, np.int64)) is None


@pytest.mark.parametrize("make", [paper, strokes, wash])
def test_invented_scans_with_noise(make: object) -> None:
    surface = make(500, 700, 5)  # type: ignore[operator]
    noise = np.random.default_rng(3).normal(0, 0.002, surface.shape)
    sixteen = np.rint(np.clip(surface + noise, 0, 1) * 65535).astype(np.int64)
    assert bits_of(sixteen[:, :, 1].ravel()) == 16
    assert bits_of((sixteen[:, :, 1] >> 8).ravel() * 257) == 8


@pytest.mark.parametrize("name", ["pictures/weld_16bit.png", "tiff_odd/libvips_sample_16bit_300dpi_cm.tif"])
def test_real_sixteen_bit_pictures_are_read_alike_by_a_plain_look_at_their_levels(name: str) -> None:
    path = Path(SHARED) / name
    if not path.exists():
        pytest.skip("the shared pictures are not on this machine")
    green = np.asarray(cv2.imread(str(path), cv2.IMREAD_UNCHANGED))[:, :, 1].astype(np.int64)
    bits = bits_of(green.ravel())
    assert bits is not None
    assert len(np.unique(green)) <= 2**bits
    assert bits_of((green >> 8).ravel() * 257) == 8
