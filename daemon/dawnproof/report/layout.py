"""A job's parts as they lie in the work, row by row, and how each of them stands."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from ..model import JobView, Level, ScanRow, shown
from ..naming import count_place, grid_place
from ..policy import holds_back
from .account import parts


class PartState(Enum):
    """How a part stands, from well to wanting."""

    THERE = "there"
    UNDECIDED = "look"  # something that matters could not be judged
    FAULT = "fault"
    MISSING = "missing"


@dataclass(frozen=True, slots=True)
class Cell:
    """One part: its label ('' for a place nothing is known of) and its state."""

    label: str
    state: PartState


def layout(view: JobView) -> tuple[tuple[Cell, ...], ...]:
    """Rows of parts. Parts seen under several lights are one cell, in their worst state."""
    states: dict[str, PartState] = {}
    for scan in parts(view):
        label = scan.name.part if scan.name else ""
        states[label] = _worse(states.get(label, PartState.THERE), _state(scan))
    for label in view.missing:
        states[label.partition(" (")[0]] = PartState.MISSING
    if not states:
        return ((Cell("whole", PartState.MISSING),),)
    return _rows(states)


def _rows(states: dict[str, PartState]) -> tuple[tuple[Cell, ...], ...]:
    placed = {_place(label, index): Cell(shown(label), state) for index, (label, state) in enumerate(states.items())}
    last_row, last_column = (max(place[axis] for place in placed) for axis in (0, 1))
    return tuple(
        tuple(placed.get((row, column), Cell("", PartState.MISSING)) for column in range(last_column + 1))
        for row in range(last_row + 1)
    )


def _place(label: str, index: int) -> tuple[int, int]:
    """Row and column from 0; what has no place of its own comes in the order it is told."""
    known = {"whole": (0, 0), "L": (0, 0), "R": (0, 1), "T": (0, 0), "B": (1, 0)}.get(label)
    cell, count = grid_place(label), count_place(label)
    if cell:
        return cell[0] - 1, cell[1] - 1
    return known or ((0, count[0] - 1) if count else (0, index))


def _state(scan: ScanRow) -> PartState:
    if any(f.level is Level.FAULT for f in scan.findings):
        return PartState.FAULT
    if any(f.level is Level.UNDECIDED and holds_back(f) for f in scan.findings):
        return PartState.UNDECIDED
    return PartState.THERE


def _worse(one: PartState, other: PartState) -> PartState:
    order = list(PartState)
    return max(one, other, key=order.index)
