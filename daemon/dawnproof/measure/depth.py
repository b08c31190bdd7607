"""How many bits a 16-bit file really holds, through the values it uses and the gaps it leaves; only what is provable.

Data of fewer bits brought into 16 lie on a lattice (shifted, multiplied or with their own bits repeated); through a
tone curve the lattice bends, but no more levels are in use than the fewer bits can name. Resampling, dither or noise
added afterwards fill the gaps: then nothing is proven, and the full depth stands.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Histogram = npt.NDArray[np.int64]

LEAST_PIXELS = 10_000
# a curve is steeper in some tones than in others, so a picture without those seems to use more levels than it can;
# 14 bits are told from 16 stretched by a curve by a factor of 2 only, so nothing is granted there
_MOST_LEVELS = {8: 1.5 * 256, 10: 1.5 * 1024, 12: 1.5 * 4096, 14: 1.02 * 16384}
_LEAST_LEVELS = 24  # on fewer levels any lattice fits by chance
_WINDOW = 256
_EXPECTED_A_LEVEL = 8.0  # samples a level of a window must have got, were all its levels in use
_HALF_EMPTY = 0.5
_LEAST_WINDOWS = 64  # a quarter of the range: a curve may stretch a narrow band of tones
_DARK_WINDOWS = 48  # in the darkest fifth a tone curve leaves gaps in sound data too: no proof


def proven_bits(histogram: Histogram) -> int | None:
    """Bits in use of 16, by the counts of 65536 levels of one channel; None where too little is there to tell."""
    used = np.flatnonzero(histogram)
    inner = used[(used > 0) & (used < 65535)]
    if int(histogram[inner].sum()) < LEAST_PIXELS or len(inner) < _LEAST_LEVELS:
        return None
    for bits in _MOST_LEVELS:
        if _on_lattice(used, inner, bits):
            return bits
    return _bits_through_a_curve(histogram)


def _on_lattice(used: npt.NDArray[np.int64], inner: npt.NDArray[np.int64], bits: int) -> bool:
    """Whether every level in use is one that `bits` bits can name, however they were brought into 16."""
    step = 1 << (16 - bits)
    if np.all(inner % step == inner[0] % step):
        return True
    top = (1 << bits) - 1
    codes = np.rint(used * (top / 65535)).astype(np.int64)
    scaled = codes * 65535 / top
    if np.all((used == np.floor(scaled)) | (used == np.rint(scaled))):
        return True
    repeated = (codes << (16 - bits)) | (codes >> (2 * bits - 16))
    return bool(np.all(used == repeated))


def _bits_through_a_curve(histogram: Histogram) -> int:
    """The smallest depth that can name as many levels as are in use, if half of them or more are clearly empty."""
    windows = histogram.reshape(-1, _WINDOW)
    filled = np.count_nonzero(windows, axis=1) / _WINDOW
    well_seen = windows.sum(axis=1) >= _EXPECTED_A_LEVEL * _WINDOW
    judged = well_seen.copy()
    judged[:_DARK_WINDOWS] = False
    judged[-1] = False
    if judged.sum() < _LEAST_WINDOWS or filled[judged].mean() > _HALF_EMPTY:
        return 16
    levels = _WINDOW * float(np.where(well_seen, filled, filled[judged].mean()).sum())
    return next((bits for bits, most in _MOST_LEVELS.items() if levels <= most), 16)
