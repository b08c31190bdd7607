"""Sample tiles hold the scan's own pixels, however bands cut them, and only where the work is."""

from dataclasses import replace

import numpy as np
from scans import bands, bed_of, frame_of

from dawnproof.measure.outline import whole_frame
from dawnproof.measure.sample_tiles import SampleTiles


def test_tiles_are_cut_from_the_green_channel() -> None:
    pixels = np.random.default_rng(1).integers(0, 65535, (700, 900, 3)).astype(np.uint16)
    for rows in (37, 256, 700):
        tiles = SampleTiles(frame_of(pixels, 400.0, bed_of(pixels, 400.0)))
        for band in bands(pixels, rows):
            tiles.see(band)
        kept = tiles.inside(whole_frame(900, 700))
        assert len(kept) == len(tiles.places) == 6
        for tile, (top, left) in zip(kept, tiles.places, strict=True):
            assert np.array_equal(tile, pixels[top : top + 256, left : left + 256, 1])


def test_only_tiles_wholly_inside_the_work_count() -> None:
    pixels = np.zeros((700, 900, 1), np.uint8)
    tiles = SampleTiles(frame_of(pixels, 400.0, bed_of(pixels, 400.0)))
    for band in bands(pixels, 100):
        tiles.see(band)
    half = replace(whole_frame(900, 700), spans=np.array([[0.0, 600.0]]))
    assert len(tiles.inside(half)) == sum(left + 256 <= 600 for _, left in tiles.places)
    nowhere = replace(whole_frame(900, 700), spans=np.array([[np.nan, np.nan]]))
    assert tiles.inside(nowhere) == []


def test_scan_smaller_than_a_tile() -> None:
    pixels = np.arange(40 * 50, dtype=np.uint16).reshape(40, 50, 1)
    tiles = SampleTiles(frame_of(pixels, 400.0, bed_of(pixels, 400.0)))
    for band in bands(pixels, 7):
        tiles.see(band)
    (tile,) = tiles.inside(whole_frame(50, 40))
    assert tile.shape == (40, 40)
