"""What a child is asked to measure. Light: whoever asks need not load what measures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from ..model import Bed, Measured, Role, Sides

NEEDS_MB = 800  # resident memory of a child that measures: libraries, a few bands, what the checks keep


@dataclass(frozen=True, slots=True)
class Ask:
    """What the child must know beside the file."""

    path: str
    bed: Bed
    outer: Sides = field(default_factory=Sides)
    role: Role = Role.WORK
    stated_width_mm: float | None = None
    stated_height_mm: float | None = None
    relief: bool = False
    border_mm: float = 3.0

    # what an engine on other computers asks

    def reads(self) -> tuple[str, ...]:
        """The files it is about."""
        return (self.path,)

    def writes(self) -> tuple[str, ...]:
        """The folders it writes into."""
        return ()

    def placed(self, reads: Sequence[str], writes: Sequence[str]) -> Ask:
        """The same with its files and folders at other paths, in the same order."""
        return replace(self, path=reads[0])

    def needs_mb(self) -> int:
        """Resident memory it will need, MB."""
        return NEEDS_MB

    def digests(self, result: Any) -> Mapping[str, str]:
        """SHA-256 of written files, by path below their folder, as far as it was taken while writing."""
        return {}


def measure(ask: Ask) -> Measured:
    """`measuring.measure_scan`, loaded where it runs."""
    from .measuring import measure_scan

    return measure_scan(ask)


def ready_to_measure() -> None:
    """All that `measure` needs, loaded where it runs."""
    from ..measure.one_pass import check_classes
    from . import measuring  # noqa: F401

    check_classes()
