"""The likelihood of displaced views at every column a stitch may lie in, from the covariance of its neighbours.

Small displacements, and any at all as "the two sides have nothing in common", can be judged from few columns around
the stitch. The covariance of a strip's columns over a block of rows is all that is needed of it; each hypothesis then
costs one product with each square of it along the diagonal.

What counts is the peak: how much likelier a displacement is than none, than one a little smaller or larger, and than
two sides with nothing in common. An edge, a change of sharpness or of texture raises all of these alike; only content
that was pictured twice makes a peak.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from .seam_likelihood import LEAST_NOISE, Floats, Form, Process, Rows, process_of

Likelihoods = npt.NDArray[np.float64]  # (blocks, blends, hypotheses, columns)
Peaks = npt.NDArray[np.float32]  # (runs of blocks, blends, shifts, columns)

STEP_PX = 0.5
MOST_NEAR_PX = 8.0
BESIDE = 3  # steps to the smaller and larger displacement that a peak must surpass
NOTHING_PX = 1e6  # a displacement so large that the two sides share nothing
HALF = 34  # columns on either side
SHIFTS_PX = tuple(STEP_PX * n for n in range(2, int(MOST_NEAR_PX / STEP_PX) + 1))  # those for which a peak is told
PROMISED_PX = 5.0
ROW, COLUMN = np.triu_indices(2 * HALF)


def likelihoods(even: list[Rows], at: npt.NDArray[np.int64], blends_px: tuple[float, ...]) -> Likelihoods:
    """The likelihood of each block of even rows under each hypothesis, for a stitch whose right view begins at strip
    column `at`; every `at` needs HALF columns on either side."""
    process = process_of(even)
    tried = (0.0, *SHIFTS_PX, *(MOST_NEAR_PX + STEP_PX * n for n in range(1, BESIDE + 1)), NOTHING_PX)
    return likelihoods_under(even, at, [process.forms(HALF, blend, tried) for blend in blends_px])


def likelihoods_under(even: list[Rows], at: npt.NDArray[np.int64], forms: Sequence[Sequence[Form]]) -> Likelihoods:
    """The same of blocks of even rows under the given hypotheses (blends, hypotheses), each for HALF columns a side."""
    every = [form for blend in forms for form in blend]
    table = np.stack([_twice_above(form.inverse) for form in every], axis=1)
    volumes = np.array([form.log_volume for form in every])
    columns = even[0].shape[1]
    places = ((at - HALF) * (columns + 1))[:, None] + ROW * columns + COLUMN  # of each one's square in the covariance
    likely = np.stack([_likelihood(rows, places, table, volumes).reshape(len(at), len(forms), -1) for rows in even])
    return np.moveaxis(likely, 1, 3)


def peaks(likely: Likelihoods, run: int) -> Peaks:
    """How much every run of `run` blocks, taken together, speaks for each displacement of SHIFTS_PX."""
    sums = np.concatenate([np.zeros_like(likely[:1]), np.cumsum(likely, axis=0)])
    return _above(sums[run:] - sums[:-run])


def _likelihood(rows: Rows, places: npt.NDArray[np.int64], table: npt.NDArray[np.float32], volumes: Floats) -> Floats:
    energy = (rows.T @ rows).ravel()[places] @ table  # (columns, hypotheses)
    return np.asarray(-len(rows) * (volumes + HALF * np.log(np.maximum(energy, 1e-9))))


def _twice_above(symmetric: Floats) -> npt.NDArray[np.float32]:
    """Diagonal, and twice what lies above it: the sum of its products with the same of another symmetric matrix
    is that of all."""
    return np.asarray(symmetric[ROW, COLUMN] * np.where(ROW == COLUMN, 1.0, 2.0), np.float32)


def _above(likely: Floats) -> Peaks:
    """Each displacement's likelihood less the best of none, nothing in common, and those beside it."""
    none, nothing = likely[:, :, :1], likely[:, :, -1:]
    tried = likely[:, :, 1:-1]
    shown = len(SHIFTS_PX)
    rival = np.maximum(np.maximum(none, nothing), tried[:, :, BESIDE : BESIDE + shown])
    rival[:, :, BESIDE:] = np.maximum(rival[:, :, BESIDE:], tried[:, :, : shown - BESIDE])
    return np.asarray(tried[:, :, :shown] - rival, dtype=np.float32)


def promise(even: Rows, blends_px: tuple[float, ...], least_noise: float = LEAST_NOISE) -> float:
    """The peak that a displacement of PROMISED_PX would show in these rows, at the narrowest blend width: the sharper
    the stitch, the less it shows (in 35 of 35 blocks of rows of made scans)."""
    process = process_of([even], least_noise)
    return len(even) * _told(process, min(blends_px))


def _told(process: Process, blend_px: float) -> float:
    beside = BESIDE * STEP_PX
    others = (0.0, PROMISED_PX - beside, PROMISED_PX + beside, NOTHING_PX)
    lifted, *rivals = process.forms(HALF, blend_px, (PROMISED_PX, *others))
    return min(lifted.told_from(rival) for rival in rivals)
