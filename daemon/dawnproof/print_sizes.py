"""Master and ordered size give the effective resolution, the largest prints, and the millimetres to trim or add."""

from __future__ import annotations

from dataclasses import dataclass

from .model import MM_PER_INCH

PRINT_PPI = (360, 300, 240, 180)


@dataclass(frozen=True, slots=True)
class PrintSize:
    """The largest print at a resolution, in mm."""

    ppi: int
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class OrderedPrint:
    """What a master gives at the ordered long side: ppi there, and the other side in mm."""

    long_mm: float
    short_mm: float
    effective_ppi: float


def largest_prints(width_px: int, height_px: int, detail: float = 1.0) -> tuple[PrintSize, ...]:
    """The largest print at 360, 300, 240 and 180 ppi. `detail` below 1 (share of Nyquist really held) counts as that
    many fewer pixels."""
    share = min(max(detail, 0.0), 1.0)
    return tuple(
        PrintSize(ppi, round(width_px * share * MM_PER_INCH / ppi, 1), round(height_px * share * MM_PER_INCH / ppi, 1))
        for ppi in PRINT_PPI
    )


def ordered_print(width_px: int, height_px: int, long_mm: float, detail: float = 1.0) -> OrderedPrint:
    """The effective resolution when the long side is printed `long_mm` long."""
    long_px, short_px = max(width_px, height_px), min(width_px, height_px)
    share = min(max(detail, 0.0), 1.0)
    return OrderedPrint(long_mm, round(long_mm * short_px / long_px, 1), long_px * share * MM_PER_INCH / long_mm)
