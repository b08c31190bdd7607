"""A straight line through places some of which do not belong to it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def robust_line(x: Floats, y: Floats) -> tuple[float, float, float]:
    """Offset, slope and spread by iteratively reweighted least squares (Tukey's biweight)."""
    weight = np.ones_like(x)
    for _ in range(12):
        total = weight.sum()
        mx, my = (weight * x).sum() / total, (weight * y).sum() / total
        slope = (weight * (x - mx) * (y - my)).sum() / max((weight * (x - mx) ** 2).sum(), 1e-9)
        off = y - my - slope * (x - mx)
        spread = max(1.4826 * float(np.median(np.abs(off))), 0.02)
        weight = np.where(np.abs(off) < 4.7 * spread, (1 - (off / (4.7 * spread)) ** 2) ** 2, 1e-6)
    return float(my - slope * mx), float(slope), spread
