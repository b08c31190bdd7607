"""Proof pictures of one job: the work made small, and what is worth a look at 1:1, read from the scans again and
written beside the master."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from ..assemble.parts import JoinPlan, Pixels
from ..assemble.proof import Rgb, Shrinker, colour_words, jpeg, sharpened, to_srgb
from ..assemble.sheet import CloseUp, sheet
from ..model import MM_PER_INCH, Box, Finding, Measured
from ..storage.tiff import Scan, open_scan
from .close_up_places import FALLBACK_PPI, Chosen, Wanted, choose, of_cuts, of_scan
from .most_to_see import structure_of

PARTS = "parts.jpg"  # of a job in rework: its parts side by side without a word, small, for sheets and pages
PARTS_PX = 640
SHARPENED = "sharpened for the screen"


@dataclass(frozen=True, slots=True)
class Source:
    """A picture close-ups are taken from: an open scan, or the master by its path. `mm_px`: mm a pixel."""

    scan: Scan | Path
    sides: tuple[int, int]
    mm_px: float
    words: str

    def opened(self) -> AbstractContextManager[Scan]:
        """The picture, open for reading."""
        return open_scan(self.scan) if isinstance(self.scan, Path) else nullcontext(self.scan)


class Proofs:
    """Collects what is to be shown of a job, then writes proof.jpg and details.jpg into its folder."""

    def __init__(self, folder: Path, long_side: int) -> None:
        self._folder = folder
        self._long_side = long_side
        self._proof = self._parts = b""
        self._sources: list[Source] = []
        self._wanted: list[Wanted] = []

    def shrinker(self, width: int, height: int) -> Shrinker:
        """What makes the proof's picture while the master is written."""
        return Shrinker(width, height, self._long_side)

    def of_master(self, picture: Pixels, icc: bytes | None) -> None:
        """The proof of a master from its small picture."""
        words = f"{colour_words(icc, picture.shape[2])}; {SHARPENED}"
        self._proof = jpeg(sharpened(to_srgb(picture, icc)), words)

    def of_parts(self, parts: Sequence[tuple[str, Scan]]) -> None:
        """The proof of a job in rework: its parts side by side, uncropped."""
        tiles, words = [], ""
        for label, scan in parts:
            facts = scan.facts
            shrunk = Shrinker(facts.width_px, facts.height_px, max(200, self._long_side // (2 * len(parts))))
            for band in scan.bands():
                shrunk.see(band)
            tiles.append(CloseUp((label,), sharpened(to_srgb(shrunk.picture(), facts.icc))))
            words = f"{colour_words(facts.icc, facts.channels)}; {SHARPENED}"
        self._proof = jpeg(sheet(tiles, columns=min(2, max(1, len(tiles)))), words)
        self._parts = jpeg(_side_by_side([tile.picture for tile in tiles]), words)

    def add_scan(self, label: str, scan: Scan, measured: Measured, findings: Sequence[Finding]) -> None:
        """Places of one scan: each finding with a place, the stitch, tones and detail. The scan stays open until the
        pictures are written."""
        sides = scan.facts.width_px, scan.facts.height_px
        self._wanted += of_scan(self._add(scan, sides, scan), label, measured, findings, structure_of(scan))

    def add_cuts(self, plan: JoinPlan, master: Path, box: Box) -> None:
        """Each cut of a join, on the master."""
        with open_scan(master) as scan:
            sides = scan.facts.width_px, scan.facts.height_px
            self._wanted += of_cuts(self._add(master, sides, scan), plan, box, sides)

    def write(self) -> tuple[str, ...]:
        """Write what was collected; the names written."""
        written = []
        for name, data in (("proof.jpg", self._proof), ("details.jpg", self._details()), (PARTS, self._parts)):
            if data:
                path = self._folder / name
                with path.open("wb") as file:
                    file.write(data)
                    file.flush()
                    os.fsync(file.fileno())
                written.append(name)
        return tuple(written)

    def _add(self, picture: Scan | Path, sides: tuple[int, int], scan: Scan) -> int:
        facts = scan.facts
        words = colour_words(facts.icc, facts.channels)
        self._sources.append(Source(picture, sides, MM_PER_INCH / (facts.ppi_x or FALLBACK_PPI), words))
        return len(self._sources) - 1

    def _details(self) -> bytes:
        chosen = choose(self._wanted, [source.sides for source in self._sources])
        if not chosen:
            return b""
        colours = dict.fromkeys(source.words for source in self._sources)
        words = f"one pixel for one, not sharpened; {'; '.join(colours)}"
        shown = [picture for one in chosen for picture in self._shown(one)]
        return jpeg(sheet(shown), words, quality=92)

    def _shown(self, one: Chosen) -> tuple[CloseUp, ...]:
        marked = self._close_up(one)
        return (replace(marked, marks=()), marked) if one.plain_too and marked.marks else (marked,)

    def _close_up(self, one: Chosen) -> CloseUp:
        source, tile = self._sources[one.source], one.tile
        with source.opened() as scan:
            picture = to_srgb(scan.region(tile.x, tile.y, tile.width, tile.height), scan.facts.icc)
        marks = tuple(mark for m in one.marks if (mark := _on_tile(m, tile)).width > 0 and mark.height > 0)
        across, down = (tile.x + tile.width / 2) * source.mm_px, (tile.y + tile.height / 2) * source.mm_px
        lines = ("; ".join(_said_once(one.words)), f"middle {across:.0f} mm from the left, {down:.0f} mm from the top")
        return CloseUp(lines, picture, marks, source.mm_px)


def _side_by_side(pictures: Sequence[Rgb]) -> Rgb:
    """At one scale in one row, PARTS_PX wide at most."""
    height = max(picture.shape[0] for picture in pictures)
    row = np.full((height, sum(p.shape[1] for p in pictures), 3), 255, np.uint8)
    x = 0
    for picture in pictures:
        row[: picture.shape[0], x : x + picture.shape[1]] = picture
        x += picture.shape[1]
    scale = min(1.0, PARTS_PX / row.shape[1])
    size = (max(1, round(row.shape[1] * scale)), max(1, round(height * scale)))
    return np.asarray(cv2.resize(row, size, interpolation=cv2.INTER_AREA), np.uint8)


def _on_tile(mark: Box, tile: Box) -> Box:
    """The part of a mark that lies on the tile, in the tile's pixels."""
    x, y = max(mark.x - tile.x, 0), max(mark.y - tile.y, 0)
    return Box(x, y, min(mark.right - tile.x, tile.width) - x, min(mark.bottom - tile.y, tile.height) - y)


def _said_once(words: Sequence[str]) -> list[str]:
    """The part is named once: 'R: doubling 8 px at 43 mm; lifted 1.2 mm'."""
    first = words[0].partition(": ")[0] + ": "
    return [words[0], *(word.removeprefix(first) for word in words[1:])]
