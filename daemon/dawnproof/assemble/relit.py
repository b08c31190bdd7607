"""Relief lit from another side: a part that was laid down turned shows the same surface under other light.

The scan sees the slope of the surface along the light. In a spectrum the slopes across and along differ by their
directions alone, so what light from another side would show follows from what was seen, up to its strength: the phase
is multiplied by the sign of one direction over the other; by -1 where the light came from the far side. By phase
alone (Kuglin and Hines 1975) the place is then found like any other, from the relief and without the pigment.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import fft

from .coarse import low_pass, turned_by
from .view import Grey

# deviations of the whole surface: measured on made scans of eight pictures at 21 to 103 for turned parts (one of 24 at
# 13), 7 to 10 for what does not belong together (once 16)
STANDS_OUT = 20.0
ABOVE_OTHERS = 1.8  # times the highest peak of the other turns
# of the peak without other light; what is painted alone shows 4 / pi^2 = 0.41 of it beside its place where the light is
# thought a quarter turn away (the two-dimensional Hilbert transform of a point), and hardly any where half a turn
ABOVE_PIGMENT = {1: 0.52, 2: 0.25, 3: 0.52}
ANGLES_DEG = np.arange(-5.0, 5.01, 0.25)
FINEST = 0.14  # cycles a pixel: what turning by half a step leaves in place


def turns_of_light(first: Grey, second: Grey) -> int:
    """By how many quarter turns anticlockwise `second` (as scanned, like `first` normalised and lit from the top or
    bottom of its frame) must be turned for its relief, lit anew, to lie on that of `first`; 0 where no turn stands
    out."""
    heights = {turns: _highest(first, np.ascontiguousarray(np.rot90(second, turns)), turns) for turns in (1, 2, 3)}
    best = max(heights, key=lambda turns: heights[turns])
    others = max(height for turns, height in heights.items() if turns != best)
    if heights[best] < max(STANDS_OUT, ABOVE_OTHERS * others):
        return 0
    # what is painted lies there as it is, and under other light only beside itself
    as_it_is = _highest(first, np.ascontiguousarray(np.rot90(second, best)), 0)
    return best if heights[best] >= ABOVE_PIGMENT[best] * as_it_is else 0


def _highest(first: Grey, second: Grey, turns: int) -> float:
    """The highest peak of the phase correlation over small angles, in deviations of its surface."""
    rows = fft.next_fast_len(first.shape[0] + second.shape[0], real=True)
    columns = fft.next_fast_len(first.shape[1] + second.shape[1], real=True)
    spectrum = np.conj(fft.rfft2(first, (rows, columns), workers=2)) * _relit(rows, columns, turns)
    highest = 0.0
    for angle in ANGLES_DEG:
        turned, _ = turned_by(second, float(angle))
        cross = spectrum * fft.rfft2(turned, (rows, columns), workers=2)
        size = np.abs(cross)
        surface = fft.irfft2(cross / (size + 1e-3 * size.mean()), (rows, columns), workers=2)
        highest = max(highest, float(surface.max()) / (float(surface.std()) + 1e-12))
    return highest


def _relit(rows: int, columns: int, turns: int) -> npt.NDArray[np.float32]:
    """What the phase of the turned part must be multiplied by, and the band of frequencies that is looked at."""
    fy, fx = np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(columns)[None, :]
    crossed = np.sign(fy) * np.sign(fx)
    sign = (np.ones_like(crossed), crossed, -np.ones_like(crossed), -crossed)[turns]
    return np.asarray(low_pass(rows, columns, FINEST) * sign, dtype=np.float32)
