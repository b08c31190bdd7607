"""A check that divides by nothing must not pass for one that found nothing wrong."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite

from ..model import Reading, Where

_NO_NUMBER = "what was measured is no number"


def finite(reading: Reading) -> Reading:
    """The reading as it may be judged and recorded: a value that is no finite number counts as not taken (any
    comparison with it would say sound), and a place that has none is left out."""
    value, where = reading.value, reading.where
    if isinstance(value, float) and not isfinite(value):
        why = f"{_NO_NUMBER} ({value}); {reading.why}" if reading.why else f"{_NO_NUMBER} ({value})"
        reading = replace(reading, value=None, sure=0.0, why=why)
    elif not isfinite(reading.sure):
        reading = replace(reading, sure=0.0)
    return reading if where is None or _has_a_place(where) else replace(reading, where=None)


def _has_a_place(where: Where) -> bool:
    place = where.x_mm, where.y_mm, where.width_mm, where.height_mm
    along = (figure for s in where.profile or () for figure in (s.y_mm, s.px, s.mm, s.sure) if figure is not None)
    return all(isfinite(figure) for figure in (*place, *along))
