"""Counts by block against plain sums, for blocks of all sizes and bands that cut through them."""

import numpy as np
import pytest

from dawnproof.measure.blocks import BlockCounts
from dawnproof.measure.outline import Outline, whole_frame


def whole(width: int, height: int, block: int) -> Outline:
    outline = whole_frame(width, height)
    rows = -(-height // block)
    return Outline(outline.box, outline.corners, None, np.repeat([[0.0, float(width)]], rows, axis=0), block)


@pytest.mark.parametrize("block", [1, 3, 6, 15, 16, 23])
@pytest.mark.parametrize("band", [1, 10, 97])
def test_counts_are_exact(block: int, band: int) -> None:
    marked = (np.random.default_rng(block).random((97, 131)) < 0.4).astype(np.uint8) * 255
    counts = BlockCounts(131, 97, block)
    for first in range(0, 97, band):
        counts.add(first, marked[first : first + band])
    padded = np.zeros((-(-97 // block) * block, -(-131 // block) * block), int)
    padded[:97, :131] = marked > 0
    expected = padded.reshape(padded.shape[0] // block, block, -1, block).sum(axis=(1, 3))
    assert np.array_equal(counts.inside(whole(131, 97, block)), expected)
    assert counts.total() == (marked > 0).sum()


def test_only_blocks_between_the_spans_count() -> None:
    counts = BlockCounts(60, 20, 5)
    counts.add(0, np.full((20, 60), 255, np.uint8))
    outline = whole(60, 20, 5)
    spans = outline.spans.copy()
    spans[:] = [[10.0, 40.0], [np.nan, np.nan], [12.0, 38.0], [0.0, 60.0]]
    inside = counts.inside(Outline(outline.box, outline.corners, None, spans, 5))
    assert inside.sum(axis=1).tolist() == [30 * 5, 0, 20 * 5, 60 * 5]  # partly covered blocks are left out


def test_rows_without_a_mark_take_no_memory() -> None:
    counts = BlockCounts(600, 600, 5)
    counts.add(0, np.zeros((600, 600), np.uint8))
    assert counts.kept_bytes == 0


def test_channels_are_counted_and_forgotten_apart() -> None:
    marked = (np.random.default_rng(2).random((40, 60, 3)) < (0.1, 0.5, 0.9)).astype(np.uint8) * 255
    counts = BlockCounts(60, 40, 4, channels=3)
    counts.add(0, marked)
    assert [counts.total(k) for k in range(3)] == (marked > 0).sum(axis=(0, 1)).tolist()
    counts.clear(1)
    assert counts.total(1) == 0
    assert counts.inside(whole(60, 40, 4), 2).sum() == (marked[:, :, 2] > 0).sum()
