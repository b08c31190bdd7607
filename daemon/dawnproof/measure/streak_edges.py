"""The two edges of a streak, added up over the height: what a work alone, without a lid around it, can tell of one.

A line has a rising and a falling edge, and each is seen by itself as the difference of two neighbouring columns. Such
a difference is sharpened against the differences beside it, which takes out what lies smoothly there, and weighed by
how quiet the place is: an average that counts every place by its own certainty (weighted least squares, Aitken 1935).
A few quiet rows so outweigh all the brushwork above and below them.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Field = npt.NDArray[np.float32]
Sums = npt.NDArray[np.float64]

SHARPEN = np.array([[-0.5, 1.0, -0.5]], np.float32)
# what is left of an edge of a line so many columns wide: the sharpening's 1.5 and 1, less 8 % (measured on pictures)
# because a place is trusted the less the more it shows itself
GAIN = {1: 1.38, 2: 0.92, 3: 0.92, 4: 0.92}
# columns, groups of rows: where the usual size of a difference is taken; with its own place, so that single strong
# ones count little
AROUND = (5, 3)
LEAST_SPREAD = 4e-4  # share of the tone: coding and calibration leave at least this
COARSE_STEP = 0.3 / 255  # share of full scale that 8 bits leave after a mean over four rows
DARKEST = 0.03  # share of full scale below which a relative change is not meaningful
WHITEST, BLACKEST = 0.995, 0.012  # tones that cannot show a streak of either sign
BLIND_REACH = 5


@dataclass(frozen=True, slots=True)
class EdgeSums:
    """Weighted sums, (stretches, columns - 1); entry x lies between columns x and x + 1. `sharp`: sharpened
    differences, share of the tone; `plain`: the differences themselves; `weight`: 1 / share squared."""

    sharp: Sums
    plain: Sums
    weight: Sums


def edge_sums(tone: Field, coarse: bool) -> EdgeSums:
    """One stretch. `tone`: (groups of rows, columns), share of full scale; `coarse`: coded in 8 bits."""
    beside = np.maximum((tone[:, 1:] + tone[:, :-1]) * np.float32(0.5), np.float32(DARKEST))
    plain = (tone[:, 1:] - tone[:, :-1]) / beside
    sharp = np.asarray(cv2.filter2D(plain, -1, SHARPEN, borderType=cv2.BORDER_REFLECT))
    square = sharp * sharp
    spread = np.asarray(cv2.blur(square, AROUND, borderType=cv2.BORDER_REFLECT))
    floor = np.float32(LEAST_SPREAD) + (np.float32(COARSE_STEP) / beside if coarse else np.float32(0.0))
    weight = np.float32(1.0) / (np.maximum(spread, np.float32(0.0)) + floor * floor)
    blind = ((tone > WHITEST) | (tone < BLACKEST)).astype(np.uint8)
    if blind.any():
        blind = np.asarray(cv2.dilate(blind, np.ones((1, BLIND_REACH), np.uint8)))
        weight *= (blind[:, 1:] | blind[:, :-1]) == 0
    sums = [np.atleast_2d(np.sum(part, axis=0, dtype=np.float64)) for part in (sharp * weight, plain * weight, weight)]
    return EdgeSums(*sums)


def stacked(sums: list[EdgeSums]) -> EdgeSums:
    """All stretches, top to bottom."""
    return EdgeSums(
        np.concatenate([one.sharp for one in sums]),
        np.concatenate([one.plain for one in sums]),
        np.concatenate([one.weight for one in sums]),
    )
