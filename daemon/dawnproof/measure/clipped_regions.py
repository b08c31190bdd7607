"""The largest region of clipped pixels, told from the glints of varnish, relief and metal leaf."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from ..model import Box

Counts = npt.NDArray[np.uint16]

_FULL = 0.5  # of a block must be clipped for regions to join through it
_GLINT_MM2 = 12.0  # larger areas are no glints, however steep, unless they are ragged
_LEAF_MM2 = 150.0  # of wrinkled metal leaf glints hang together up to here
_RAGGED_MM = 1.8  # mean width: facets of leaf; what is clipped between the lines of a drawing is wider
_SURE_MM2, _SURE_MM = 400.0, 5.0  # area and mean width from which steep flanks are no doubt any more
_RING_PX = 2.0  # width of the ring in which flanks are counted
_STEEP = 0.35  # a glint's flanks are near the extreme in less than this share


@dataclass(frozen=True, slots=True)
class Region:
    """A connected clipped area: its exact count of pixels and the box around its blocks; `certain` where it cannot be
    metal leaf or a pool of varnish."""

    pixels: int
    box: Box
    certain: bool = True


def largest_region(
    clipped: Counts, flanks: Counts, flat_flanks: Counts, block: int, mm2_per_pixel: float
) -> tuple[Region | None, int]:
    """The largest clipped region that is not shaped like a glint, and how many glints were passed over.

    All arrays count pixels by block: clipped ones, those just beside them, and those beside them that are nearly
    as bright. A glint has steep flanks and is small, or, on metal leaf, ragged; clipped paper passes over into paper
    just below the end, or is wide.
    """
    core = (clipped >= _FULL * block * block).astype(np.uint8)
    # a region with no full block is still one; its blocks hang together as they are
    seeds = core if core.any() else (clipped > 0).astype(np.uint8)
    count, labels = cv2.connectedComponents(seeds, connectivity=4, ltype=cv2.CV_32S)
    if count <= 1:
        return None, 0
    rim = np.asarray(cv2.dilate(labels.astype(np.float32), np.ones((3, 3), np.uint8))).astype(np.int32)
    owner = np.where(labels > 0, labels, rim)
    pixels, beside, flat = (
        np.bincount(owner.ravel(), weights=values.ravel(), minlength=count) for values in (clipped, flanks, flat_flanks)
    )
    area = pixels * mm2_per_pixel
    width_mm = 2 * pixels / np.maximum(beside / _RING_PX, 1) * np.sqrt(mm2_per_pixel)
    ragged = (area < _LEAF_MM2) & (width_mm < _RAGGED_MM)
    glint_sized = (area < _GLINT_MM2) | ragged
    steep = (flat < _STEEP * np.maximum(beside, 1)) & (beside > 0)
    glint = glint_sized & steep
    glint[0] = True
    glints = int(glint[1:].sum())
    sizes = np.where(glint, 0, pixels)
    # facets of leaf beside bright ones of their own have no steep flanks either, and are no certain fault
    sure = (~steep & ~ragged) | (area >= _SURE_MM2) | (width_mm >= _SURE_MM)
    # leaf must not hide a clipped wash beside it
    proven = np.where(sure & (area >= _GLINT_MM2), sizes, 0)
    best = int((proven if proven.any() else sizes).argmax())
    if sizes[best] == 0:
        return None, glints
    return Region(int(pixels[best]), _box(owner == best, block), bool(sure[best])), glints


def _box(where: npt.NDArray[np.bool_], block: int) -> Box:
    rows, columns = np.flatnonzero(where.any(axis=1)), np.flatnonzero(where.any(axis=0))
    top, left = int(rows[0]), int(columns[0])
    return Box(left * block, top * block, (int(columns[-1]) + 1 - left) * block, (int(rows[-1]) + 1 - top) * block)
