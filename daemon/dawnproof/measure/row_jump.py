"""How far one row of a scan lies sideways of the row before it.

The width is cut into chunks. In each the row is correlated with the row before over a range of lags, which gives the
likelihood of each lag: with noise of unknown strength it falls as the part left unexplained, 1 - correlation squared,
to the power of half the pixels. A work that slips moves whole, so the likelihoods of all chunks count together at the
same lag, and detail too faint to tell anything in one chunk tells it in all of them; no chunk counts for more than a
bounded share, and several must be of that mind by themselves. What the rows before and after the jump do by
themselves, because the content slants or is a mere pattern of its own, is held against it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .band import Pixels

Curves = npt.NDArray[np.float64]  # (chunks, lags), lags from -reach to reach

CHUNKS = 12
LEAST_CHUNK_PX = 96
MOST_CHUNK_PX = 360
SMALLEST_CHUNK_PX = 32
FARTHEST_PX = 40
FFT_PX = (64, 96, 128, 192, 256, 320, 384)
DEPTHS = (1, 2)  # rows above and below that are averaged; deeper, the work itself changes more than the noise falls
ROWS_AROUND = 2 * DEPTHS[-1]  # above and below the jump
STEEPEST_PX = 5.0  # sideways from row to row: content slants no more
MOST_OF_A_CHUNK = 40.0  # log likelihood
TELLS = 4.0  # log likelihood, for a chunk to be for or against
LEAST_GAIN = 55.0  # log likelihood of all chunks together against no jump; rows without one stay below 45
LEAST_HINT = 20.0  # the same at first sight, to look closer
LEAST_OVER_OWN = 2.0  # times what the rows before or after gain by themselves
LEAST_ALIKE = 0.55  # of the log likelihood of the rows before and after: a work that slipped goes on, new content not
LEAST_FOR, LEAST_SHARE_FOR = 3, 0.76
CERTAIN_FOR, CERTAIN_SHARE_FOR = 5, 0.85
LEAST_UNCERTAIN_PX = 1.0
LEAST_AHEAD = 10.0  # log likelihood, of the best lag over any other peak: else a pattern that repeats


@dataclass(frozen=True, slots=True)
class Jump:
    """From `row` on the scan lies `shift_px` to the right of what comes before (negative: left); a share `sure` of the
    chunks that can tell agree. `certain`: many chunks, nearly all of one mind, and no other lag that would do."""

    row: int
    shift_px: float
    sure: float
    certain: bool


def jump_between(rows: Pixels, row: int) -> Jump | None:
    """The jump between the middle two of an even count of rows, (rows, columns), 4 or up to `2 * ROWS_AROUND`, beyond
    what each chunk of the width does before and after it anyway. `row`: number of the row below the middle.

    None when too little of the width tells, or the chunks disagree. Jumps well below 1 px are not seen.
    """
    found = None
    for depth in DEPTHS:
        if len(rows) >= 4 * depth and rows.shape[1] >= 2 * SMALLEST_CHUNK_PX:
            chunks, pixels = _cut(_averaged(rows, depth))
            here = _correlations(chunks[1], chunks[2], (chunks.shape[2] - pixels) // 2)
            if _bounded(_gains(_likelihoods(here, pixels))).sum(axis=0).max() < LEAST_HINT:
                break
            jump = _jump(chunks, here, round(STEEPEST_PX * depth), row)
            if jump is not None and jump.certain:
                return jump
            found = found or jump
    return found


def _averaged(rows: Pixels, depth: int) -> npt.NDArray[np.float32]:
    """(4, columns): means of `depth` rows each, the middle of the rows between the second and the third."""
    first = len(rows) // 2 - 2 * depth
    near = rows[first : first + 4 * depth].astype(np.float32)
    return near if depth == 1 else near.reshape(4, depth, -1).mean(axis=1)


def _cut(four: npt.NDArray[np.float32]) -> tuple[npt.NDArray[np.float32], int]:
    """(4, chunks, pixels) without their means, and how many pixels of a chunk are compared."""
    columns = four.shape[1]
    count = max(2, min(CHUNKS, columns // LEAST_CHUNK_PX))
    size = columns // count
    reach, seen = min(FARTHEST_PX, size // 3), min(size, MOST_CHUNK_PX)
    first = (size - seen) // 2
    chunks = four[:, : count * size].reshape(4, count, size)[:, :, first : first + seen]
    return chunks - chunks.mean(axis=2, keepdims=True), seen - 2 * reach


def _jump(chunks: npt.NDArray[np.float32], here: Curves, steepest_px: int, row: int) -> Jump | None:
    """`chunks`: of four rows; `here`: correlations of the middle two."""
    reach = here.shape[1] // 2
    pixels = chunks.shape[2] - 2 * reach
    before, after = _correlations(chunks[0], chunks[1], reach), _correlations(chunks[2], chunks[3], reach)
    own = _likelihoods(before, pixels), _likelihoods(after, pixels)
    slant = _slants(own[0] + own[1], before + after, steepest_px)
    upright = _moved(here, slant)
    unmoved = _likelihoods(here, pixels)[:, reach]  # a slant may be mistaken: a jump must be likelier than none as well
    likelihoods = _likelihoods(upright, pixels)
    gains = np.minimum(_gains(likelihoods), likelihoods - unmoved[:, None])
    by_itself = np.max([_bounded(_gains(_moved(other, slant))).sum(axis=0) for other in own], axis=0)
    best = _best(gains, by_itself)
    if best is None:
        return None
    agrees, differs = gains[:, best] > TELLS, gains[:, best] < -TELLS
    alike = np.minimum(own[0].max(axis=1), own[1].max(axis=1))[agrees].sum()
    if likelihoods[agrees, best - 1 : best + 2].max(axis=1).sum() < LEAST_ALIKE * alike:
        return None
    share = float(agrees.sum() / max(1, agrees.sum() + differs.sum()))
    if agrees.sum() < LEAST_FOR or share < LEAST_SHARE_FOR:
        return None
    shift = _finely(upright[agrees], (slant - np.rint(slant))[agrees], best)
    certain = (
        agrees.sum() >= CERTAIN_FOR and share >= CERTAIN_SHARE_FOR and _alone(_compressed(gains).sum(axis=0), best)
    )
    if not certain and abs(shift) < LEAST_UNCERTAIN_PX:
        return None
    return Jump(row, shift, round(share, 3), bool(certain))


def _best(gains: Curves, by_itself: npt.NDArray[np.float64]) -> int | None:
    """The lag that all chunks together are for. `by_itself`: gain of the rows before or after, by lag."""
    best = int(np.argmax(_compressed(gains).sum(axis=0)))
    none = gains.shape[1] // 2
    if best in (0, none, 2 * none):
        return None
    # an edge nearly along the rows runs on to the same side; a row that jumped alone comes back, and is a jump
    same_side = by_itself[:none] if best < none else by_itself[none + 1 :]
    gain = _bounded(gains)[:, best].sum()
    return best if gain >= max(LEAST_GAIN, LEAST_OVER_OWN * same_side.max()) else None


def _alone(together: npt.NDArray[np.float64], best: int) -> bool:
    """Whether no other peak comes near."""
    away = np.abs(np.arange(len(together)) - best) > _half_width(together, best)
    return bool(not away.any() or together[away].max() < together[best] - LEAST_AHEAD)


def _correlations(before: npt.NDArray[np.float32], after: npt.NDArray[np.float32], reach: int) -> Curves:
    """Normalised, of each chunk, (chunks, pixels) without their means; 0 where one of the two is flat."""
    seen = before.shape[1]
    inner = before[:, reach : seen - reach]
    inner = inner - inner.mean(axis=1, keepdims=True)
    length = next(length for length in FFT_PX if length >= seen)
    spectrum = np.fft.rfft(after, length, axis=1) * np.conj(np.fft.rfft(inner, length, axis=1))
    product = np.fft.irfft(spectrum, length, axis=1)[:, : 2 * reach + 1]
    squares = _window_sums(after * after, inner.shape[1])
    spread = squares - _window_sums(after, inner.shape[1]) ** 2 / inner.shape[1]
    norm = np.sqrt(np.maximum(spread, 0) * np.einsum("ij,ij->i", inner, inner)[:, None])
    return np.asarray(np.clip(np.where(norm > 1e-3, product / np.maximum(norm, 1e-3), 0), -1, 1), np.float64)


def _window_sums(values: npt.NDArray[np.float32], pixels: int) -> npt.NDArray[np.float64]:
    """Of each row, at each lag: over the pixels that are compared."""
    sums = np.empty((len(values), values.shape[1] - pixels + 1))
    sums[:, 0] = values[:, :pixels].sum(axis=1)
    np.cumsum(values[:, pixels:] - values[:, : values.shape[1] - pixels], axis=1, out=sums[:, 1:])
    sums[:, 1:] += sums[:, :1]
    return sums


def _likelihoods(correlations: Curves, pixels: int) -> Curves:
    """Logarithm, of each lag; 1e-4 is left unexplained even of rows that are alike (values are rounded)."""
    return np.asarray(-0.5 * pixels * np.log(1 - np.maximum(correlations, 0) ** 2 + 1e-4))


def _gains(likelihoods: Curves) -> Curves:
    """Of each lag against none."""
    none = likelihoods.shape[1] // 2
    return np.asarray(likelihoods - likelihoods[:, none, None])


def _bounded(gains: Curves) -> Curves:
    """So that no chunk decides alone whether there is a jump."""
    return np.clip(gains, -MOST_OF_A_CHUNK, MOST_OF_A_CHUNK)


def _compressed(gains: Curves) -> Curves:
    """So that none decides alone how large it is, and yet the top of each chunk remains its top."""
    beyond = np.log(np.maximum(np.abs(gains) / MOST_OF_A_CHUNK, 1))
    return np.asarray(_bounded(gains) * (1 + beyond))


def _slants(likelihoods: Curves, correlations: Curves, most_px: int) -> npt.NDArray[np.float64]:
    """What each chunk does from row to row anyway, of the rows before and after together; 0 where they do not tell."""
    none = likelihoods.shape[1] // 2
    most_px = min(most_px, none - 1)
    best = none - most_px + np.argmax(likelihoods[:, none - most_px : none + most_px + 1], axis=1)
    slants = np.zeros(len(best))
    for k, lag in enumerate(best):
        if likelihoods[k, lag] - likelihoods[k, none] > TELLS and abs(lag - none) < most_px:
            slants[k] = lag - none + _off_peak(correlations[k, lag - 1 : lag + 2])
    return slants


def _moved(curves: Curves, slant: npt.NDArray[np.float64]) -> Curves:
    """Each chunk's lags counted from its slant, to the pixel."""
    if not slant.any():
        return curves
    lags = np.arange(curves.shape[1]) + np.rint(slant).astype(int)[:, None]
    return np.take_along_axis(curves, lags % curves.shape[1], axis=1)


def _finely(correlations: Curves, beside: npt.NDArray[np.float64], best: int) -> float:
    """Sub-pixel lag near `best` of the chunks together, each weighted as its noise deserves."""
    weight = 1 / (1 - correlations[:, best - 1 : best + 2].max(axis=1) + 1e-3)
    summed = weight @ correlations
    top = best - 1 + int(np.argmax(summed[best - 1 : best + 2]))
    top = min(max(top, 1), len(summed) - 2)
    return float(top - len(summed) // 2 + _off_peak(summed[top - 1 : top + 2]) - (weight @ beside) / weight.sum())


def _off_peak(three: npt.NDArray[np.float64]) -> float:
    """Where the parabola through three values has its top, from the middle one."""
    left, peak, right = three
    curve = left - 2 * peak + right
    return float(np.clip(0.5 * (left - right) / curve, -1, 1)) if curve < 0 else 0.0


def _half_width(curve: npt.NDArray[np.float64], best: int) -> int:
    """How far from its top the peak falls, at most, before it rises again."""
    reach = 1
    while (
        best - reach > 0
        and best + reach < len(curve) - 1
        and (curve[best - reach - 1] < curve[best - reach] or curve[best + reach + 1] < curve[best + reach])
    ):
        reach += 1
    return reach
