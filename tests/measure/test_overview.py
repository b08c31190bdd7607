"""The overview against a plain mean of blocks, however the bands cut the scan."""

from dataclasses import replace

import numpy as np
import pytest
from scans import bands, bed_of, frame_of

from dawnproof.measure.overview import MOST_PIXELS, Overview, block_size


def overview_of(pixels: np.ndarray, rows: int, ppi: float = 600.0) -> tuple[Overview, np.ndarray]:
    overview = Overview(frame_of(pixels, ppi, bed_of(pixels, ppi)))
    for band in bands(pixels, rows):
        overview.see(band)
    return overview, overview.picture()


@pytest.mark.parametrize("rows", [1, 3, 7, 64, 500])
@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_every_pixel_is_the_mean_of_its_block(rows: int, depth: type[np.unsignedinteger]) -> None:
    top = np.iinfo(depth).max
    pixels = np.random.default_rng(1).integers(0, top, (203, 118, 3), endpoint=True).astype(depth)
    overview, picture = overview_of(pixels, rows)
    size = overview.block
    assert size == 4
    whole = pixels[: 203 // size * size, : 118 // size * size].astype(float)
    blocks = whole.reshape(203 // size, size, 118 // size, size, 3).mean(axis=(1, 3))
    assert picture.shape == blocks.shape
    assert np.abs(picture - blocks / top).max() <= 0.5001 / top + 1e-7


def test_grey_keeps_its_one_channel() -> None:
    pixels = np.full((80, 90, 1), 30000, np.uint16)
    _, picture = overview_of(pixels, 33)
    assert picture.shape == (20, 22, 1)
    assert picture.max() == pytest.approx(30000 / 65535)


def test_block_keeps_the_overview_small_and_fine_enough() -> None:
    frame = frame_of(np.zeros((10, 10, 3), np.uint8), 600.0, bed_of(np.zeros((10, 10, 3), np.uint8), 600.0))
    assert block_size(replace(frame, width_px=4000, height_px=3000)) == 4
    large = replace(frame, width_px=40_000, height_px=30_000)
    assert large.width_px * large.height_px / block_size(large) ** 2 <= MOST_PIXELS
    assert block_size(replace(frame, width_px=9, height_px=9)) == 1
