"""Proof pictures of one job: what is worth a look at 1:1, read from the scans again and written beside the master."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ..assemble.parts import JoinPlan, Pixels
from ..assemble.proof import CloseUp, Shrinker, jpeg, sharpened, sheet, to_srgb
from ..model import MM_PER_INCH, Box, Finding, Level, Measured
from ..storage.tiff import Scan, open_scan

TILE = (560, 380)  # pixels at 1:1
MOST_CLOSE_UPS = 14


class Proofs:
    """Collects the pictures of a job, then writes proof.jpg and details.jpg into its folder."""

    def __init__(self, folder: Path, long_side: int) -> None:
        self._folder = folder
        self._long_side = long_side
        self._proof: bytes = b""
        self._close_ups: list[CloseUp] = []

    def shrinker(self, width: int, height: int) -> Shrinker:
        """What makes the proof's picture while the master is written."""
        return Shrinker(width, height, self._long_side)

    def of_master(self, picture: Pixels, icc: bytes | None) -> None:
        """The proof of a master from its small picture."""
        self._proof = jpeg(sharpened(to_srgb(picture, icc)))

    def of_parts(self, parts: Sequence[tuple[str, Scan]]) -> None:
        """The proof of a job in rework: its parts side by side, uncropped."""
        tiles = []
        for label, scan in parts:
            shrunk = Shrinker(scan.facts.width_px, scan.facts.height_px, max(200, self._long_side // (2 * len(parts))))
            for band in scan.bands():
                shrunk.see(band)
            tiles.append(CloseUp(label, sharpened(to_srgb(shrunk.picture(), scan.facts.icc))))
        self._proof = jpeg(sheet(tiles, columns=min(2, max(1, len(tiles)))))

    def add_scan(self, label: str, scan: Scan, measured: Measured, findings: Sequence[Finding]) -> None:
        """Close-ups of one scan: each place with a finding, then the stitch, the darkest and the lightest place."""
        for finding in findings:
            if finding.where is not None and finding.level is not Level.SOUND:
                self._add_finding(label, scan, measured, finding)
        if not any(f.check == "seam" and f.where for f in findings if f.level is not Level.SOUND):
            self._add_seam(label, scan, measured)
        self._add_tones(label, scan, measured)

    def add_cuts(self, plan: JoinPlan, master: Path, box: Box) -> None:
        """Each cut of a join at 1:1 on the master, unmarked and marked."""
        with open_scan(master) as scan:
            for cut in plan.cuts:
                line = cut.polyline()
                x, y = line[len(line) // 2]
                place = Box(int(x - box.x) - 3, int(y - box.y) - 60, 6, 120)
                self._add(f"join of {cut.a} and {cut.b}", scan, place, marked=True)

    def write(self) -> tuple[str, ...]:
        """Write what was collected; the names written."""
        written = []
        for name, data in (("proof.jpg", self._proof), ("details.jpg", self._details())):
            if data:
                path = self._folder / name
                with path.open("wb") as file:
                    file.write(data)
                    file.flush()
                    os.fsync(file.fileno())
                written.append(name)
        return tuple(written)

    def _details(self) -> bytes:
        return jpeg(sheet(self._close_ups[:MOST_CLOSE_UPS]), quality=92) if self._close_ups else b""

    def _add_finding(self, label: str, scan: Scan, measured: Measured, finding: Finding) -> None:
        where = finding.where
        if where is None:
            return
        x_mm, y_mm = MM_PER_INCH / (measured.ppi_x or 300.0), MM_PER_INCH / (measured.ppi_y or 300.0)
        box = Box(int(where.x_mm / x_mm), int(where.y_mm / y_mm), max(2, int(where.width_mm / x_mm)),
                  max(2, int(where.height_mm / y_mm)))  # fmt: skip
        if finding.check == "crop":
            return
        text = f"{label}: {finding.check} {finding.name} at {where.x_mm:.0f}, {where.y_mm:.0f} mm"
        self._add(text, scan, box, marked=True)

    def _add_seam(self, label: str, scan: Scan, measured: Measured) -> None:
        seam = next((r for r in measured.readings if (r.check, r.name) == ("seam", "doubling") and r.where), None)
        if seam is None or seam.where is None:
            return
        x = int((seam.where.x_mm + seam.where.width_mm / 2) * (measured.ppi_x or 300.0) / MM_PER_INCH)
        y = measured.crop.tight.y + measured.crop.tight.height // 2 if measured.crop else measured.height_px // 2
        self._add(f"{label}: the stitch at {seam.where.x_mm + seam.where.width_mm / 2:.0f} mm", scan, Box(x, y, 2, 2))

    def _add_tones(self, label: str, scan: Scan, measured: Measured) -> None:
        if len(self._close_ups) >= MOST_CLOSE_UPS or not measured.thumb:
            return
        for name, (x, y) in _tone_places(measured).items():
            mm = MM_PER_INCH / (measured.ppi_x or 300.0)
            self._add(f"{label}: {name}, at {x * mm:.0f}, {y * mm:.0f} mm", scan, Box(x, y, 2, 2))

    def _add(self, label: str, scan: Scan, place: Box, marked: bool = False) -> None:
        if len(self._close_ups) >= MOST_CLOSE_UPS:
            return
        width, height = min(TILE[0], scan.facts.width_px), min(TILE[1], scan.facts.height_px)
        x = min(max(place.x + place.width // 2 - width // 2, 0), scan.facts.width_px - width)
        y = min(max(place.y + place.height // 2 - height // 2, 0), scan.facts.height_px - height)
        picture = to_srgb(scan.region(x, y, width, height), scan.facts.icc)
        mark = None
        if marked:
            left, top = max(place.x - x, 0), max(place.y - y, 0)
            mark = (left, top, min(place.width, width - left - 1), min(place.height, height - top - 1))
        self._close_ups.append(CloseUp(label, picture, mark))


def _tone_places(measured: Measured) -> dict[str, tuple[int, int]]:
    """Darkest, lightest and most detailed place of the work, in pixels of the scan, found on the small picture."""
    import cv2

    thumb = cv2.imdecode(np.frombuffer(measured.thumb, np.uint8), cv2.IMREAD_GRAYSCALE)
    if thumb is None:
        return {}
    scale_x, scale_y = measured.width_px / thumb.shape[1], measured.height_px / thumb.shape[0]
    crop = measured.crop.tight if measured.crop else Box(0, 0, measured.width_px, measured.height_px)
    top, bottom = int(crop.y / scale_y), max(int(crop.bottom / scale_y), int(crop.y / scale_y) + 1)
    left, right = int(crop.x / scale_x), max(int(crop.right / scale_x), int(crop.x / scale_x) + 1)
    inner = thumb[top:bottom, left:right].astype(np.float32)
    if inner.size < 16:
        return {}
    tone = cv2.blur(inner, (3, 3))
    busy = cv2.blur(cv2.absdiff(inner, cv2.GaussianBlur(inner, (0, 0), 2.0)), (7, 7))
    found = {"darkest": np.argmin(tone), "lightest": np.argmax(tone), "finest detail": np.argmax(busy)}
    places = {}
    for name, index in found.items():
        row, column = np.unravel_index(int(index), tone.shape)
        places[name] = (int((left + column + 0.5) * scale_x), int((top + row + 0.5) * scale_y))
    return places
