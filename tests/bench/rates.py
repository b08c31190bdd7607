"""What the benches of the eye share: trials, rows with their rates and 95 % intervals (Wilson 1927), groups of rows."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import scans
from bench.eye_pictures import PROFILE, Pictures

from dawnproof.measure.band import Pixels
from dawnproof.model import Box, Frame

HEADING = f"{'':64s} {'aim':>6s}  {'count':>11s}  {'rate':>7s}  95 % interval"


@dataclass(frozen=True)
class Trial:
    """One answer of a check: the row it counts in, whether it is right, what a miss is told by, and the scan."""

    row: str
    good: bool
    told: str
    scan: scans.Scan | None = None


@dataclass(frozen=True)
class Options:
    """`height`, `width`: px of the scans whose size matters (None: each group's own). `place_known`: whether the scans
    of the stitch say where on the bed they lie."""

    height: int | None = None
    width: int | None = None
    place_known: bool = True


@dataclass(frozen=True)
class Group:
    """Rows that come from the same scans; `title` says what of. `aims`: the least rate of a row, %, where there is
    one."""

    name: str
    title: str
    trials: Callable[[Pictures, range, Options], Iterator[Trial]]
    aims: Mapping[str, float] = field(default_factory=dict)


@dataclass
class Row:
    """One line of the table."""

    group: str
    name: str
    aim: float | None = None
    good: int = 0
    tried: int = 0
    misses: list[str] = field(default_factory=list)

    def count(self, good: bool, told: str) -> None:
        self.tried += 1
        self.good += good
        if not good:
            self.misses.append(told)

    @property
    def rate(self) -> float:
        """In percent."""
        return 100 * self.good / max(self.tried, 1)

    @property
    def met(self) -> bool:
        """Whether the rate as counted reaches the aim; a row that was never tried does not."""
        return self.aim is None or (self.tried > 0 and self.rate >= self.aim)

    def line(self, name: str) -> str:
        aim = "" if self.aim is None else f"{self.aim:g} %"
        if not self.tried:
            return f"{name:64s} {aim:>6s}  not tried"
        low, high = wilson(self.good, self.tried)
        return f"{name:64s} {aim:>6s}  {self.good:5d}/{self.tried:<5d}  {self.rate:5.1f} %  [{low:5.1f}, {high:5.1f}]"


def wilson(good: int, tried: int) -> tuple[float, float]:
    """95 % interval of a rate, in percent."""
    if tried == 0:
        return 0.0, 100.0
    z, share = 1.96, good / tried
    middle = (share + z * z / (2 * tried)) / (1 + z * z / tried)
    half = z / (1 + z * z / tried) * np.sqrt(share * (1 - share) / tried + z * z / (4 * tried**2))
    return float(100 * max(middle - half, 0.0)), float(100 * min(middle + half, 1.0))


def counted(group: Group, trials: Iterable[Trial], keep: Path | None = None) -> list[Row]:
    """The group's rows, those with an aim first; the scan of each miss written to the folder `keep`."""
    rows = {name: Row(group.name, name, aim) for name, aim in group.aims.items()}
    for trial in trials:
        rows.setdefault(trial.row, Row(group.name, trial.row)).count(trial.good, trial.told)
        if keep is not None and trial.scan is not None and not trial.good:
            _write(keep, f"{group.name} {trial.row} {trial.told}", trial.scan)
    return list(rows.values())


def _write(folder: Path, told: str, scan: scans.Scan) -> None:
    """With a profile where it has colours, so that the file can be examined."""
    folder.mkdir(parents=True, exist_ok=True)
    name = re.sub(r"[^\w.+-]+", "_", told)[:100].strip("_.") + ".tif"
    scans.write_tiff(folder / name, scan, icc=PROFILE.read_bytes() if scan.frame.channels == 3 else None)


def scan_of(pixels: Pixels, frame: Frame) -> scans.Scan:
    """Pixels that no longer are those of the scan they come from; the work fills the frame."""
    height, width = pixels.shape[:2]
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)
    return scans.Scan(pixels, frame, Box(0, 0, width, height), corners)


def show(group: Group, rows: Iterable[Row]) -> None:
    """Each row, and below it what was missed."""
    print(f"{group.name}: {group.title}")
    for row in rows:
        print(row.line(f"  {row.name}"), *(f"      {miss}" for miss in row.misses), sep="\n", flush=True)


def show_unmet(rows: Iterable[Row]) -> None:
    """The rows whose aim is not met, and whether chance alone could account for it."""
    aimed = [row for row in rows if row.aim is not None]
    unmet = [row for row in aimed if not row.met]
    print(f"\naims not met: {len(unmet)} of {len(aimed)}")
    for row in unmet:
        reached = row.tried and wilson(row.good, row.tried)[1] >= (row.aim or 0.0)
        print(f"{row.line(f'  {row.group}: {row.name}')}{'  the interval reaches the aim' if reached else ''}")


def seeds_of(text: str) -> range:
    """A:B, from A on and without B."""
    first, past = map(int, text.split(":"))
    return range(first, past)
