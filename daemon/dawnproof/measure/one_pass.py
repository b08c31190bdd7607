"""One decode feeds all checks: every band of a scan is shown to every check, then each is asked for its readings.

A check is any module of this package with an attribute CHECK; nothing has to be registered.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Iterable
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cache, partial
from typing import ParamSpec, Protocol, TypeVar, runtime_checkable

import numpy as np
import numpy.typing as npt

from ..model import Frame, Mark, Reading
from .band import Band, Check
from .finite import finite
from .lanes import Lane, Lanes
from .outline import Outline, whole_frame
from .thumb import Thumb

Thumbnail = npt.NDArray[np.uint8]  # (rows, columns), grey, long side at most 256
P = ParamSpec("P")
T = TypeVar("T")
Clock = Callable[[], float]  # seconds that only go forward


@runtime_checkable
class Outlining(Protocol):
    """The check that finds where the work lies; the others are asked after it."""

    def outline(self) -> Outline: ...


@runtime_checkable
class Pondering(Protocol):
    """A check that takes longer to answer than to look: with threads it prepares itself when it has seen all, and is
    asked before the others. It must answer as well where nobody told it to prepare."""

    def prepare(self) -> None: ...


@runtime_checkable
class Marking(Protocol):
    """A check that also names places which may belong to the scanner; asked after its readings."""

    def marks(self) -> tuple[Mark, ...]: ...


@dataclass(frozen=True, slots=True)
class Looked:
    """What one look at a scan gave. `seconds`: by check name, and "grey" for the image the checks share; seconds of
    checks that ran side by side overlap."""

    readings: tuple[Reading, ...]
    outline: Outline
    marks: tuple[Mark, ...]
    thumb: Thumbnail
    seconds: tuple[tuple[str, float], ...]


@cache
def check_classes() -> tuple[type[Check], ...]:
    """Every check of this package, by module name."""
    package = importlib.import_module(__package__)
    modules = sorted(module.name for module in pkgutil.iter_modules(package.__path__))
    found = [importlib.import_module(f"{__package__}.{name}") for name in modules]
    return tuple(module.CHECK for module in found if hasattr(module, "CHECK"))


def checks_for(frame: Frame) -> tuple[Check, ...]:
    """A fresh set of all checks for one scan."""
    return tuple(check(frame) for check in check_classes())


def look(
    frame: Frame,
    bands: Iterable[Band],
    clock: Clock,
    side_by_side: Executor | None = None,
    checks: tuple[Check, ...] | None = None,
) -> Looked:
    """Shows the bands to all checks and collects what they say.

    `side_by_side`: threads on which the checks run, each at its own band; the pixel work releases the interpreter's
    lock. `checks`: others than those of this package. A check that raises ends the look: its job is the caller's.
    """
    shown = checks_for(frame) if checks is None else checks
    watch = _Watch(clock)
    thumb = Thumb(frame)
    viewers: tuple[Check | Thumb, ...] = (*shown, thumb)
    lanes = Lanes([_lane(viewer, watch) for viewer in viewers], side_by_side)
    for band in bands:
        watch.timed("grey", _prepare, band)
        lanes.show(band)  # and the next is read meanwhile
    lanes.last_shown()
    outline = _outline(shown, frame, watch)  # the others see their last bands and prepare themselves meanwhile
    lanes.end()
    readings = [reading for told in _ask_all(shown, outline, watch, side_by_side) for reading in told]
    marks = [mark for check in shown if isinstance(check, Marking) for mark in watch.timed(check.name, check.marks)]
    return Looked(tuple(readings), outline, tuple(marks), thumb.picture(), watch.seconds())


def _lane(viewer: Check | Thumb, watch: _Watch) -> Lane:
    def see(band: Band) -> None:
        watch.timed(viewer.name, viewer.see, band)

    finish = partial(watch.timed, viewer.name, viewer.prepare) if isinstance(viewer, Pondering) else None
    return Lane(see, lambda: watch.spent(viewer.name), finish, isinstance(viewer, Outlining))


def _prepare(band: Band) -> None:
    """Makes the shared image before the checks reach for it from several threads."""
    _ = band.grey


def _outline(checks: tuple[Check, ...], frame: Frame, watch: _Watch) -> Outline:
    finder = next((check for check in checks if isinstance(check, Outlining)), None)
    if finder is None:
        return whole_frame(frame.width_px, frame.height_px)
    return watch.timed(finder.name, finder.outline)


def _ask_all(
    checks: tuple[Check, ...], outline: Outline, watch: _Watch, side_by_side: Executor | None
) -> list[list[Reading]]:
    if side_by_side is None:
        return [watch.timed(check.name, _ask, check, outline) for check in checks]
    slowest_first = sorted(checks, key=lambda check: (not isinstance(check, Pondering), -watch.spent(check.name)))
    asked = {c.name: side_by_side.submit(watch.timed, c.name, _ask, c, outline) for c in slowest_first}
    return [asked[check.name].result() for check in checks]


def _ask(check: Check, outline: Outline) -> list[Reading]:
    return [finite(reading) for reading in check.readings(outline)]


class _Watch:
    """Seconds by name. Each name is timed by one thread at a time, so plain addition is enough."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._spent: dict[str, float] = {}

    def spent(self, name: str) -> float:
        return self._spent.get(name, 0.0)

    def timed(self, name: str, step: Callable[P, T], *arguments: P.args, **more: P.kwargs) -> T:
        before = self._clock()
        result = step(*arguments, **more)
        self._spent[name] = self._spent.get(name, 0.0) + self._clock() - before
        return result

    def seconds(self) -> tuple[tuple[str, float], ...]:
        return tuple(self._spent.items())
