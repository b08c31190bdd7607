"""Resolution: what the header states, whether that is plausible, and how much of it holds detail."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

import numpy as np

from ..model import MOST_PLAUSIBLE_PPI, Frame, Reading, Sides
from .band import Band
from .noise import Tile, halo_share, noise_share
from .outline import Outline
from .sample_tiles import SampleTiles
from .spectrum import along_rows, enlarged_by, held_share

_SLACK = 1.02
_SLACK_MM = 3.0
_SIZE_OFF = 0.05  # of the stated size of the work; beyond it the header's resolution is doubtful
_LEAST_TILES = 2
_NONE_STATED = "the header states no resolution"


class ResolutionCheck:
    """Header facts, and a sample of tiles for spectrum, noise and halo."""

    name: ClassVar[str] = "resolution"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._tiles = SampleTiles(frame)

    def see(self, band: Band) -> None:
        self._tiles.see(band)

    def readings(self, outline: Outline) -> Iterable[Reading]:
        frame = self._frame
        for name, ppi, stated in zip(("ppi_x", "ppi_y"), (frame.ppi_x, frame.ppi_y), frame.header_ppi, strict=True):
            why = "" if ppi else _beyond_any_scanner(stated) or _NONE_STATED
            yield Reading("resolution", name, round(ppi, 3) if ppi else None, "1/in", why=why)
        yield self._plausible(outline)
        scale = np.float32(2**frame.depth_bits - 1)
        tiles: list[Tile] = [(tile / scale).astype(np.float32) for tile in self._tiles.inside(outline)]
        yield self._detail("detail_x", tiles)
        yield self._detail("detail_y", [np.ascontiguousarray(tile.T) for tile in tiles])
        yield _percent("halo", halo_share(tiles), 2, "no clear edges between flat tones to measure it on")
        yield _percent("noise", noise_share(tiles), 4, "the work holds no sample tile")

    def _plausible(self, outline: Outline) -> Reading:
        frame = self._frame
        beyond = _beyond_any_scanner(max(frame.header_ppi))
        if not beyond and not (frame.ppi_x and frame.ppi_y):
            return Reading("resolution", "scale_plausible", None, "", sure=0.0, why=_NONE_STATED)
        why = beyond or self._larger_than_bed() or self._off_the_stated_size(outline)
        return Reading("resolution", "scale_plausible", 0.0 if why else 1.0, "", sure=0.95, why=why)

    def _larger_than_bed(self) -> str:
        frame, bed = self._frame, self._frame.bed
        size = frame.mm_x(frame.width_px), frame.mm_y(frame.height_px)
        room = bed.width_mm * _SLACK + _SLACK_MM, bed.length_mm * _SLACK + _SLACK_MM
        if (size[0] <= room[0] and size[1] <= room[1]) or (size[1] <= room[0] and size[0] <= room[1]):
            return ""
        return (
            f"{size[0]:.0f} x {size[1]:.0f} mm by the header is larger than {bed.name} "
            f"({bed.width_mm:.0f} x {bed.length_mm:.0f} mm)"
        )

    def _off_the_stated_size(self, outline: Outline) -> str:
        """For a whole work with all its sides in the frame: its size on the scan against the job list."""
        frame = self._frame
        stated = frame.stated_width_mm, frame.stated_height_mm
        whole = frame.outer == Sides() and outline.found and outline.runs_out == Sides(False, False, False, False)
        if not whole or not stated[0] or not stated[1]:
            return ""
        seen = frame.mm_x(outline.box.width), frame.mm_y(outline.box.height)
        off = max(abs(seen[0] / stated[0] - 1), abs(seen[1] / stated[1] - 1))
        turned = max(abs(seen[1] / stated[0] - 1), abs(seen[0] / stated[1] - 1))
        if min(off, turned) <= _SIZE_OFF:
            return ""
        return (
            f"the work measures {seen[0]:.0f} x {seen[1]:.0f} mm, the job list says {stated[0]:.0f} x {stated[1]:.0f}"
        )

    def _detail(self, name: str, tiles: list[Tile]) -> Reading:
        axis = along_rows(tiles) if len(tiles) >= _LEAST_TILES else None
        if axis is None:
            return Reading("resolution", name, None, "share", sure=0.0, why="the work is too small or too even to tell")
        factor = enlarged_by(axis)
        if factor is None:
            return Reading("resolution", name, round(held_share(axis), 3), "share", sure=0.9, certain=False)
        why = f"enlarged by {factor:.2f} after scanning: the trace of interpolation, and little beyond"
        return Reading("resolution", name, round(1 / factor, 3), "share", sure=0.98, why=why)


CHECK = ResolutionCheck


def _beyond_any_scanner(ppi: float) -> str:
    """What makes the header's figure unbelievable by itself; "" where nothing does."""
    if ppi <= MOST_PLAUSIBLE_PPI:
        return ""
    return f"the header states {ppi:,.0f} ppi, more than any scanner of works gives ({MOST_PLAUSIBLE_PPI:,.0f})"


def _percent(name: str, share: float | None, digits: int, why: str) -> Reading:
    if share is None:
        return Reading("resolution", name, None, "%", sure=0.0, why=why)
    return Reading("resolution", name, round(100 * share, digits), "%", sure=0.9, certain=False)
