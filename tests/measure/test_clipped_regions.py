"""Regions of clipped blocks: exact counts, their rim, and glints by size and steepness."""

import numpy as np

from dawnproof.measure.clipped_regions import largest_region
from dawnproof.model import Box

BLOCK, MM2 = 5, 0.004  # a full block is 25 px, 0.1 mm2


def counts() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    clipped, beside, flat = (np.zeros((40, 60), np.uint16) for _ in range(3))
    return clipped, beside, flat


def test_region_counts_its_partly_clipped_rim() -> None:
    clipped, beside, flat = counts()
    clipped[10:14, 20:26] = 25
    clipped[14, 20:26] = 7  # the edge of the region runs through these blocks
    beside[9:16, 19:27] = flat[9:16, 19:27] = 10
    region, glints = largest_region(clipped, beside, flat, BLOCK, MM2)
    assert region is not None
    assert region.pixels == 4 * 6 * 25 + 6 * 7
    assert glints == 0
    assert (region.box.x, region.box.y) == (19 * BLOCK, 9 * BLOCK)


def test_small_and_steep_is_a_glint_large_or_flat_is_not() -> None:
    clipped, beside, flat = counts()
    clipped[5:8, 5:8] = 25
    beside[4:9, 4:9] = 12
    assert largest_region(clipped, beside, flat, BLOCK, MM2) == (None, 1)
    flat[4:9, 4:9] = 12
    assert largest_region(clipped, beside, flat, BLOCK, MM2)[0] is not None
    clipped[20:35, 20:35] = 25
    beside[19:36, 19:36] = 12
    beside[20:35, 20:35] = 0
    region, _ = largest_region(clipped, beside, np.zeros_like(flat), BLOCK, MM2)
    assert region is not None
    assert region.pixels == 15 * 15 * 25


def test_ragged_and_steep_is_metal_leaf() -> None:
    """22 mm2 that hang together, half a millimetre wide on average; as flat as paper, they are told, and are no
    certain fault: facets may lie beside bright ones."""
    clipped, beside, flat = counts()
    clipped[20:35, 20:35] = 25
    beside[19:36, 19:36] = 9
    assert largest_region(clipped, beside, flat, BLOCK, MM2) == (None, 1)
    region, glints = largest_region(clipped, beside, beside, BLOCK, MM2)
    assert region is not None
    assert (region.certain, glints) == (False, 0)


def test_steep_and_narrow_is_no_proof_and_hides_nothing() -> None:
    """A broad facet of leaf is told, not certain; a clipped wash beside it is, though it is smaller."""
    clipped, beside, flat = counts()
    clipped[2:20, 2:32] = 25
    ring = np.zeros_like(beside)
    ring[1:21, 1:33] = 12
    ring[2:20, 2:32] = 0
    beside += ring
    region, _ = largest_region(clipped, beside, flat, BLOCK, MM2)
    assert region is not None
    assert (region.pixels, region.certain) == (18 * 30 * 25, False)
    clipped[28:38, 40:56] = 25
    beside[27, 40:56] = flat[27, 40:56] = 20
    region, _ = largest_region(clipped, beside, flat, BLOCK, MM2)
    assert region is not None
    assert (region.pixels, region.certain) == (10 * 16 * 25, True)


def test_nothing_clipped() -> None:
    assert largest_region(*counts(), BLOCK, MM2) == (None, 0)


def test_scattered_pixels_join_by_their_blocks_when_none_is_full() -> None:
    clipped, beside, flat = counts()
    clipped[8, 8:10] = 3
    beside[8, 8:10] = flat[8, 8:10] = 20
    region, _ = largest_region(clipped, beside, flat, BLOCK, MM2)
    assert region is not None
    assert region.pixels == 6
    assert isinstance(region.box, Box)
