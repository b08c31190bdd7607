"""The tone step and its place: two cameras that differ in gain leave an edge along the stitch that no picture has,
the same ratio of tones in every row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .colour import delta_e_2000, to_lab

Tones = npt.NDArray[np.float32]  # (blocks, columns, channels), 0..1 in the file's encoding
NEAR_PX = 6  # columns averaged on either side
SHARE = 2 / 3  # the step counts when it runs along a third of the stitch: this quantile of its size
STANDS_OUT = 5.0  # deviations of what other columns show
MOST_CAMERA_STEP = 0.12  # ratio; two cameras of one bed never differ by more: then it is the work's own edge
EVEN_RATIO = 0.02


@dataclass(frozen=True)
class ToneStep:
    """CIEDE2000 across `column`, `certain` when it can only be the cameras'."""

    column: int
    delta_e: float
    certain: bool
    stands_out: bool


def find_step(tones: Tones, first: int, last: int, icc: bytes | None, column: int | None = None) -> ToneStep | None:
    """The step at `column`, else at the column between first and last where it is largest; indices into the columns of
    `tones`. A step that does not stand out from the picture's own counts as none. None: too few columns."""
    columns = tones.shape[1]
    first, last = max(first, NEAR_PX), min(last, columns - NEAR_PX)
    if last <= first or len(tones) == 0:
        return None
    logs = np.log(np.maximum(tones, 1e-4))
    jumps = _across(logs)  # (blocks, columns, channels)
    common = np.median(jumps, axis=0)
    size = np.abs(common.mean(axis=1))
    inside = slice(NEAR_PX, columns - NEAR_PX)
    middle = float(np.median(size[inside]))
    deviation = 1.4826 * float(np.median(np.abs(size[inside] - middle))) + 1e-6
    best = first + int(size[first:last].argmax()) if column is None else int(np.clip(column, first, last - 1))
    rival = np.delete(size, np.arange(max(best - 2 * NEAR_PX, 0), min(best + 2 * NEAR_PX, columns)))[inside]
    others = float(rival.max()) if rival.size else middle
    stands_out = bool(size[best] > middle + STANDS_OUT * deviation and size[best] > 1.3 * others)
    sizes = _sizes(tones, best, icc) if stands_out else np.zeros(1)
    spread = np.median(np.abs(jumps[:, best].mean(axis=1) - common[best].mean()))
    camera = abs(float(common[best].mean())) < MOST_CAMERA_STEP and float(spread) < EVEN_RATIO
    return ToneStep(best, float(np.quantile(sizes, SHARE)), stands_out and camera, stands_out)


def _across(values: Tones) -> Tones:
    """Mean of the NEAR_PX columns from a column on, less that of those before it; zero near the ends."""
    sums = np.concatenate([np.zeros_like(values[:, :1]), np.cumsum(values, axis=1, dtype=np.float64)], axis=1)
    across = np.zeros_like(values)
    middle = sums[:, NEAR_PX:-NEAR_PX]
    across[:, NEAR_PX : values.shape[1] - NEAR_PX + 1] = (
        (sums[:, 2 * NEAR_PX :] - middle) - (middle - sums[:, : -2 * NEAR_PX])
    ) / NEAR_PX
    return across


def _sizes(tones: Tones, column: int, icc: bytes | None) -> npt.NDArray[np.float64]:
    left = tones[:, column - NEAR_PX : column].mean(axis=1)
    right = tones[:, column : column + NEAR_PX].mean(axis=1)
    return _delta_e(left, right, icc)


def _delta_e(left: Tones, right: Tones, icc: bytes | None) -> npt.NDArray[np.float64]:
    coded = [np.rint(np.clip(side, 0, 1) * 65535).astype(np.uint16) for side in (left, right)]
    return delta_e_2000(to_lab(coded[0], icc), to_lab(coded[1], icc))
