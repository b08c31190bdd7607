"""The second look at a suspected stitch: are its rows likelier with one picture across it, or with two displaced ones?

Rows near the stitch are taken as samples of a random process with the correlation measured on the scan itself. A
displacement D changes what columns on either side have to do with each other: the right view at x shows what the left
view shows at x - D, so their correlation at distance d becomes that at distance d - D, and noise is each camera's own.
The log-likelihood of each displacement, against none, is a reading of its own: a pattern that repeats at lag D speaks
for D in the search, but its columns still continue across the stitch and speak for 0 here. Each row is judged with a
scale of its own, so that no single edge decides.

Method: maximum likelihood for a stationary Gaussian process with unknown scale; rows made independent of one another
by a second-order prediction along the travel (Yule-Walker).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from . import fourier
from .doubling import right_share

Rows = npt.NDArray[np.float32]  # (rows, columns)
Floats = npt.NDArray[np.float64]

GAIN_VARIANCE = 10.0  # how freely the two views may differ in level, in variances of the picture
LEAST_NOISE = 1e-4
NOTHING_IN_COMMON_PX = 1e5
PER_PX = 8
EMPTY = 0.1  # of the usual variance of a column
SLOW_ROWS = 15  # what changes more slowly along the travel is left out: a crease, a fold, an upright line


@dataclass(frozen=True)
class Form:
    """One hypothesis for 2 * half columns: inverse covariance, and half the logarithm of its determinant."""

    covariance: Floats
    inverse: Floats
    log_volume: float

    @cached_property
    def weights(self) -> Rows:
        """The inverse in the type of the rows."""
        return self.inverse.astype(np.float32)

    def told_from(self, other: Form) -> float:
        """What one row is expected to speak for this hypothesis against the other when this one is true (the
        Kullback-Leibler divergence)."""
        spread = float(np.sum(other.inverse * self.covariance)) - len(self.covariance)
        return 0.5 * spread + other.log_volume - self.log_volume


@dataclass(frozen=True)
class Process:
    """The picture as a random process along its rows: correlation at every PER_PX-th of a pixel, variance of the noise;
    both together about 1."""

    correlation: Floats
    noise: float

    def forms(self, half: int, blend_px: float, shifts_px: Sequence[float]) -> tuple[Form, ...]:
        """For each displacement (+ lifted; negative: content is missing), what `half` columns on either side of a
        stitch have to do with each other when its views are displaced by it."""
        at = np.arange(-half, half, dtype=np.float64) + 0.5
        covariances = _covariances(self, right_share(at, blend_px), np.asarray(shifts_px))
        covariances += 1e-6 * np.eye(2 * half)
        roots = np.diagonal(np.linalg.cholesky(covariances), axis1=1, axis2=2)
        volumes = np.log(roots).sum(axis=1)
        each = zip(covariances, np.linalg.inv(covariances), volumes, strict=True)
        return tuple(Form(covariance, inverse, float(volume)) for covariance, inverse, volume in each)


def even_rows(rows: Rows) -> Rows:
    """(rows, columns) made independent of the rows above, each brought to the same strength (faint ones less)."""
    calm = _filled(_unpredicted(rows))
    scale = np.sqrt(np.mean(calm**2, axis=1, keepdims=True))
    return np.asarray(calm / np.maximum(scale, 0.3 * float(np.median(scale)) + 1e-9), dtype=np.float32)


def _filled(rows: Rows) -> Rows:
    """Columns that hold nothing, clipped or blank, filled with noise of the usual strength: what is not there would
    otherwise agree with whatever foretells the columns best, and that is a doubled one."""
    power = np.mean(rows**2, axis=0)
    usual = float(np.median(power))
    empty = power < EMPTY * usual
    if not empty.any() or empty.all():
        return rows
    noise = np.random.default_rng(0).standard_normal((len(rows), int(empty.sum())), dtype=np.float32)
    filled = rows.copy()
    filled[:, empty] += np.float32(np.sqrt(usual)) * noise
    return filled


@dataclass(frozen=True)
class Hypotheses:
    """One form a displacement, and the one for none, for `half` columns on either side of a stitch: made once, held
    against any number of rows."""

    half: int
    none: Form
    shifted: tuple[Form, ...]

    @classmethod
    def of(cls, process: Process, blend_px: float, shifts_px: Floats, half: int) -> Hypotheses:
        none, *shifted = process.forms(half, blend_px, (0.0, *shifts_px))
        return cls(half, none, tuple(shifted))

    def log_likelihood(self, even: Rows, column: int) -> Floats:
        """(rows, shifts): log-likelihood of each row (of `even_rows`) for each displacement less that for none.
        `column`: index of the first column of the right view."""
        near = even[:, column - self.half : column + self.half]
        flat = score(near, self.none)
        return np.stack([score(near, form) - flat for form in self.shifted], axis=1)


def _unpredicted(rows: Rows) -> Rows:
    """What two rows above do not foretell, common coefficients for all columns; the first two rows repeat the third."""
    calm = rows - cv2.blur(rows, (1, SLOW_ROWS), borderType=cv2.BORDER_REFLECT)
    near = float(np.mean(calm[1:] * calm[:-1]))
    far = float(np.mean(calm[2:] * calm[:-2]))
    power = float(np.mean(calm**2)) * 1.001 + 1e-15
    first = near * (power - far) / (power**2 - near**2)
    second = (far * power - near**2) / (power**2 - near**2)
    left = calm[2:] - first * calm[1:-1] - second * calm[:-2]
    return np.asarray(np.concatenate([left[:1], left[:1], left]), dtype=np.float32)


def process_of(blocks: list[Rows], least_noise: float = LEAST_NOISE) -> Process:
    """The process that blocks of even rows (all of one width) are samples of. `least_noise`: of the whole variance,
    what two views of the same content may differ by: cameras of unlike sharpness or a displacement between two tried
    ones would speak against a true doubling where the rows hold hardly any noise."""
    columns = blocks[0].shape[1]
    taper = np.hanning(columns).astype(np.float32)
    power = np.mean([_power(block * taper) for block in blocks], axis=0)
    power[1:-1] *= 2.0
    if not power.sum() > 0:  # rows without any structure: nothing has to do with anything
        return Process(np.zeros(columns * PER_PX), 1.0)
    power /= power.sum()
    kernel = np.hanning(11) / np.hanning(11).sum()
    smooth = np.convolve(np.pad(power, 5, mode="edge"), kernel, mode="valid")
    measured = max(float(np.percentile(smooth[2:-2], 3)), LEAST_NOISE / len(power))
    noise = max(measured, least_noise / len(power))
    clean = np.maximum(power - measured, 0.0)
    clean[1:-1] /= 2.0
    correlation = fourier.irfft(clean, n=2 * columns * PER_PX) * (2 * columns * PER_PX)
    return Process(np.asarray(correlation[: columns * PER_PX]), noise * len(power))


def _power(tapered: Rows) -> Floats:
    spectrum = fourier.rfft(tapered, n=2 * tapered.shape[1], axis=1)
    return np.asarray(np.mean(spectrum.real**2 + spectrum.imag**2, axis=0), dtype=np.float64)


def _at(correlation: Floats, distance: Floats) -> Floats:
    """The correlation at distances (n,), px, without the noise; beyond the width of the rows, where nothing is known of
    it, as at that width."""
    place = np.rint(np.abs(distance) * PER_PX).astype(np.int64)
    return np.asarray(correlation[np.minimum(place, len(correlation) - 1)])


def _covariances(process: Process, share: Floats, shifts_px: Floats) -> Floats:
    """(shifts, columns, columns): of columns one pixel apart, with the right view's share in each."""
    columns = len(share)
    apart = np.arange(-columns + 1, columns, dtype=np.float64)
    place = np.arange(columns)[:, None] - np.arange(columns)[None, :] + columns - 1
    left, right = 1.0 - share, share
    same = np.outer(left, left) + np.outer(right, right)
    alike = same * (_at(process.correlation, apart)[place] + GAIN_VARIANCE)
    alike += np.diag(process.noise * (left**2 + right**2))
    moved = apart + shifts_px[:, None]
    in_common = np.abs(shifts_px) < NOTHING_IN_COMMON_PX
    views = np.zeros_like(moved)
    views[in_common] = _at(process.correlation, moved[in_common])
    crossed = np.outer(left, right) * views[:, place]
    return np.asarray(alike + crossed + crossed.swapaxes(1, 2))


def score(rows: Rows, form: Form) -> Floats:
    """Log-likelihood of each row with its best scale, up to a constant."""
    energy = np.einsum("yi,yi->y", rows @ form.weights, rows)  # a sum of some hundred: single precision does
    return np.asarray(-form.log_volume - 0.5 * rows.shape[1] * np.log(np.maximum(energy, 1e-9, dtype=np.float64)))
