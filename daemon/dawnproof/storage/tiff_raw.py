"""The common case at the speed of the disk: uncompressed strips read once, each block feeding digest and pixels.

Reading, SHA-256 and whatever uses the bands run side by side; the digest covers every byte of the file in order,
those before, between and after the strips as well.
"""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

import numpy as np

from .tiff_chunks import Pixels, read_exactly
from .tiff_page import Facts

BLOCK_BYTES: Final = 8 << 20
READS_AHEAD: Final = 2


@dataclass(frozen=True, slots=True)
class Span:
    """Bytes `start` to `end` of the file; with `rows` they hold that many rows of the picture from `first_row`."""

    start: int
    end: int
    first_row: int = 0
    rows: int = 0


class FileDigest:
    """SHA-256 of a file, given its blocks in order; each is digested by a thread of its own while others use it."""

    def __init__(self) -> None:
        self._sha = hashlib.sha256()
        self._thread = ThreadPoolExecutor(1)
        self._pending: deque[Future[None]] = deque()

    def take(self, block: Pixels) -> None:
        self._pending.append(self._thread.submit(self._sha.update, block.data))
        if len(self._pending) > READS_AHEAD:
            self._pending.popleft().result()

    def hexdigest(self) -> str:
        while self._pending:
            self._pending.popleft().result()
        return self._sha.hexdigest()

    def close(self) -> None:
        self._thread.shutdown(cancel_futures=True)


def lies_in_order(facts: Facts) -> bool:
    """True when the scan is stored as uncompressed chunky strips one behind the other: then one read serves all."""
    chunks = facts.chunks
    if facts.compression_tag != 1 or facts.planar or chunks.tiled:
        return False
    ends = (offset + count for offset, count in zip(chunks.offsets, chunks.counts, strict=True))
    return all(end <= offset for end, offset in zip(ends, chunks.offsets[1:], strict=False))


def raw_bands(fd: int, facts: Facts, rows: int, digest: FileDigest | None) -> Iterator[Pixels]:
    """Bands of `rows` rows of a scan that `lies_in_order`; with `digest`, the whole file passes through it."""
    spans = iter([span for span in _spans(facts, rows) if digest is not None or span.rows])
    with ThreadPoolExecutor(1) as reader:
        ahead: deque[tuple[Span, Future[Pixels]]] = deque()
        while True:
            while len(ahead) < READS_AHEAD and (span := next(spans, None)) is not None:
                ahead.append((span, reader.submit(read_exactly, fd, span.start, span.end - span.start)))
            if not ahead:
                return
            span, block = ahead.popleft()
            if digest is not None:
                digest.take(block.result())
            if span.rows:
                yield _pixels(facts, span, block.result())


def _row_offset(facts: Facts, row: int) -> int:
    strip, inside = divmod(row, facts.chunks.rows)
    return facts.chunks.offsets[strip] + inside * _row_bytes(facts)


def _row_bytes(facts: Facts) -> int:
    return facts.width_px * facts.samples * facts.sample_bytes


def _spans(facts: Facts, rows: int) -> Iterator[Span]:
    """The whole file in order: bands of rows, and blocks for all that lies before, between and behind them."""
    at = 0
    for first in range(0, facts.height_px, rows):
        count = min(rows, facts.height_px - first)
        start = _row_offset(facts, first)
        end = _row_offset(facts, first + count - 1) + _row_bytes(facts)
        yield from _blocks(at, start)
        yield Span(start, end, first, count)
        at = end
    yield from _blocks(at, facts.size_bytes)


def _blocks(start: int, end: int) -> Iterator[Span]:
    for at in range(start, end, BLOCK_BYTES):
        yield Span(at, min(at + BLOCK_BYTES, end))


def _pixels(facts: Facts, span: Span, block: Pixels) -> Pixels:
    """The rows of a band out of its bytes; no copy where order, type and channels are already as wanted."""
    row_bytes = _row_bytes(facts)
    if span.end - span.start != span.rows * row_bytes:  # strips with padding between them
        last = span.first_row + span.rows
        starts = np.array([_row_offset(facts, row) - span.start for row in range(span.first_row, last)])
        block = block[starts[:, None] + np.arange(row_bytes)[None, :]].reshape(-1)
    native = np.dtype(np.uint8 if facts.depth_bits == 8 else np.uint16)
    stored = block.view(native.newbyteorder(">" if facts.big_endian else "<"))
    pixels: Pixels = stored.reshape(span.rows, facts.width_px, facts.samples)
    if facts.samples > facts.channels:
        pixels = np.ascontiguousarray(pixels[:, :, : facts.channels])
    pixels = pixels.astype(native, copy=False)
    return np.invert(pixels) if facts.white_is_zero else pixels


def digest_file(fd: int, size: int) -> str:
    """SHA-256 of `size` bytes of an open file, without moving its read position."""
    sha = hashlib.sha256()
    for span in _blocks(0, size):
        sha.update(read_exactly(fd, span.start, span.end - span.start).data)
    return sha.hexdigest()
