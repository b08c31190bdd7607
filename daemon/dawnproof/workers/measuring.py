"""What a child does with one scan: open it, look at every band once, send back the readings."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2

from ..assemble.crop import crop_box
from ..errors import NotAScan
from ..measure.band import Band
from ..measure.one_pass import Thumbnail, look
from ..model import MM_PER_INCH, Bed, Frame, Measured
from ..storage.tiff import MeasurePass, measure_pass
from ..storage.tiff_page import Facts
from .asks import Ask
from .child import report_share
from .memory import settle_memory

MOST_PPI = 2400  # no work that fills a bed is scanned at more; with the bed's size it bounds what a file may declare
LEAST_PIXELS = 400_000_000


def measure_scan(ask: Ask) -> Measured:
    """Measure one scan; every error is a ScanError that says what, where and how to mend it."""
    begun = time.perf_counter()
    settle_memory()
    run = measure_pass(Path(ask.path), max_pixels=most_pixels(ask.bed))
    frame = frame_of(run.facts, ask)
    with ThreadPoolExecutor(2) as threads:
        looked = look(frame, _bands(run), time.perf_counter, threads)
    sha256 = run.sha256
    crop = crop_box(looked.outline, frame, ask.border_mm) if looked.outline.found else None
    profile = next((r.value for r in looked.readings if (r.check, r.name) == ("encoding", "profile")), None)
    total = time.perf_counter() - begun
    return Measured(
        sha256=sha256, size_bytes=run.facts.size_bytes, width_px=frame.width_px, height_px=frame.height_px,
        channels=frame.channels, depth_bits=frame.depth_bits, ppi_x=frame.ppi_x, ppi_y=frame.ppi_y,
        compression=frame.compression, profile=profile if isinstance(profile, str) else "",
        icc_sha256=hashlib.sha256(frame.icc).hexdigest() if frame.icc else "", readings=looked.readings, crop=crop,
        thumb=_png(looked.thumb), seconds=(*looked.seconds, ("total", total)), x_position_mm=frame.x_position_mm,
        marks=looked.marks,
    )  # fmt: skip


def most_pixels(bed: Bed) -> int:
    """The largest scan this bed could give."""
    per_mm = MOST_PPI / MM_PER_INCH
    return max(LEAST_PIXELS, int(1.2 * bed.width_mm * per_mm * bed.length_mm * per_mm))


def frame_of(facts: Facts, ask: Ask) -> Frame:
    """Header, bed and part as the checks are told of them."""
    if facts.depth_bits not in (8, 16):
        raise NotAScan(f"it has {facts.depth_bits} bits a sample; save the scan with 16 bits a channel")
    return Frame(
        facts.width_px, facts.height_px, facts.channels, facts.depth_bits, facts.ppi_x, facts.ppi_y, facts.compression,
        facts.icc, ask.bed, ask.outer, facts.x_position_mm, ask.role, ask.stated_width_mm, ask.stated_height_mm,
        ask.relief, facts.header_ppi,
    )  # fmt: skip


def _bands(run: MeasurePass) -> Iterator[Band]:
    row = 0
    for pixels in run:
        yield Band(row, pixels)
        row += pixels.shape[0]
        report_share(row / run.facts.height_px)


def _png(thumb: Thumbnail) -> bytes:
    done, data = cv2.imencode(".png", thumb)
    return bytes(data) if done else b""
