"""The slow writer: brings finished scans into the inbox the way scanner programs do, in pieces and with pauses."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from .scenario import Arrival

PIECE_BYTES = 3 * 1024 * 1024
KEPT_SHARE = 0.55  # of a file that is cut off


@dataclass(frozen=True)
class Delivery:
    """One staged scan and where it has to appear."""

    staged: Path
    target: Path
    arrival: Arrival


@dataclass(frozen=True)
class Pace:
    """Pauses of the writer in seconds: between pieces of a file and between files; both well below the time after
    which a quiet inbox counts as idle."""

    piece_s: float = 0.02
    file_s: float = 0.25


def kept_bytes(size_bytes: int, arrival: Arrival) -> int:
    """How much of a staged file reaches the inbox."""
    return int(size_bytes * KEPT_SHARE) if arrival is Arrival.CUT_OFF else size_bytes


def deliver_all(
    deliveries: Sequence[Delivery],
    told: Callable[[Delivery], object],
    sleep: Callable[[float], object],
    pace: Pace | None = None,
) -> None:
    """Bring every scan in, one after the other, saying which comes next; a staged file is removed afterwards."""
    pace = pace or Pace()
    for delivery in deliveries:
        told(delivery)
        deliver(delivery, sleep, pace)
        delivery.staged.unlink()
        sleep(pace.file_s)


def deliver(delivery: Delivery, sleep: Callable[[float], object], pace: Pace) -> None:
    """Write one scan piece by piece in its way of arriving."""
    delivery.target.parent.mkdir(parents=True, exist_ok=True)
    size = delivery.staged.stat().st_size
    name = delivery.target
    if delivery.arrival is Arrival.RENAMED:
        name = delivery.target.with_name(f".{delivery.target.name}.part")
    with name.open("xb") as out:
        if delivery.arrival is Arrival.PREALLOCATED:
            out.truncate(size)
        for piece in _pieces(delivery.staged, kept_bytes(size, delivery.arrival)):
            out.write(piece)
            out.flush()
            sleep(pace.piece_s)
        os.fsync(out.fileno())
    if name != delivery.target:
        name.rename(delivery.target)


def _pieces(staged: Path, keep_bytes: int) -> Iterator[bytes]:
    """The first `keep_bytes` of the staged file."""
    with staged.open("rb") as source:
        while keep_bytes > 0 and (piece := source.read(min(PIECE_BYTES, keep_bytes))):
            keep_bytes -= len(piece)
            yield piece
