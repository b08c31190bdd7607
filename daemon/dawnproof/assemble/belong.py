"""Whether parts can belong to one join at all, before a pixel is compared."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ..errors import JoinRefused
from .parts import JoinPart, JoinSettings


def check_formats(parts: Sequence[JoinPart], settings: JoinSettings) -> None:
    """Refuses fewer than two parts, one name twice, and differing resolution, channels, depth or profile."""
    if len(parts) < 2:
        raise JoinRefused("count", "a join needs at least two parts of the work")
    names = [part.name for part in parts]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice:
        raise JoinRefused("same", f"{twice} is given twice", "name each part once")
    first = parts[0]
    facts: tuple[tuple[str, Callable[[JoinPart], object]], ...] = (
        ("channels", lambda p: p.image.channels),
        ("bits a channel", lambda p: p.image.depth_bits),
        ("profile", lambda p: p.icc),
    )
    for part in parts[1:]:
        if abs(part.ppi - first.ppi) > settings.ppi_tolerance_percent / 100 * first.ppi:
            raise _differ(first, part, "resolution", f"{first.ppi:g} and {part.ppi:g} ppi")
        for fact, of in facts:
            if of(part) != of(first):
                shown = "" if fact == "profile" else f"{of(first)} and {of(part)}"
                raise _differ(first, part, fact, shown)


def _differ(first: JoinPart, part: JoinPart, fact: str, shown: str) -> JoinRefused:
    return JoinRefused(
        "format",
        f"{first.name} and {part.name} differ in {fact}" + (f": {shown}" if shown else ""),
        "scan all parts of a work with the same settings",
    )
