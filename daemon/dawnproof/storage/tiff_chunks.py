"""The second band reader: strips and tiles decoded one by one from the proven chunk table, each checked for length.

Strict by construction: a chunk that yields one byte less than its pixels need is an error. Reads any layout that
`tiff_page` lets through: planar or chunky, strips or tiles, either byte order, none, LZW, deflate, ZSTD, PackBits.
"""

from __future__ import annotations

import os
from array import array
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from typing import Any, Final

import imagecodecs
import numpy as np
import numpy.typing as npt

from ..errors import NotAScan, NotWhole
from .tiff_page import Facts
from .tiff_structure import MEND

Pixels = npt.NDArray[Any]  # (rows, columns, channels), uint8 or uint16, native byte order

FINE_ROWS: Final = 64
AHEAD_BYTES: Final = 96 << 20  # of decoded rows of chunks; large tiles over a wide bed come one row at a time
MAX_CHUNK_BYTES: Final = 1 << 29
DECODERS: Final = {
    5: imagecodecs.lzw_decode,
    8: imagecodecs.deflate_decode,
    32946: imagecodecs.deflate_decode,
    32773: imagecodecs.packbits_decode,
    50000: imagecodecs.zstd_decode,
}


def read_exactly(fd: int, offset: int, count: int) -> Pixels:
    """`count` bytes of the file as a fresh uint8 array; NotWhole when the file has become shorter."""
    block: Pixels = np.empty(count, np.uint8)
    read_into(fd, offset, block.data)
    return block


def read_into(fd: int, offset: int, view: memoryview) -> None:
    """Fill `view` from the file; NotWhole when the file has become shorter."""
    got = 0
    while got < len(view):
        more = os.preadv(fd, [view[got:]], offset + got)
        if not more:
            raise NotWhole(f"the file became shorter while it was read, at byte {offset + got:,}; {MEND}")
        got += more


def _in_fine_strips(facts: Facts) -> Facts:
    """Uncompressed strips may be read in parts: a scan stored as one strip would else be held whole in memory."""
    chunks = facts.chunks
    if facts.compression_tag != 1 or chunks.tiled or chunks.rows <= FINE_ROWS:
        return facts
    rows = FINE_ROWS
    if chunks.down > 1:
        rows = max(divisor for divisor in range(1, FINE_ROWS + 1) if chunks.rows % divisor == 0)
    row_bytes = facts.width_px * facts.sample_bytes * (1 if facts.planar else facts.samples)
    offsets, counts = array("Q"), array("Q")
    for index, offset in enumerate(chunks.offsets):
        held = min(chunks.rows, facts.height_px - index % chunks.down * chunks.rows)
        for first in range(0, held, rows):
            offsets.append(offset + first * row_bytes)
            counts.append(min(rows, held - first) * row_bytes)
    fine = replace(chunks, rows=rows, down=-(-facts.height_px // rows), offsets=offsets, counts=counts)
    return replace(facts, chunks=fine)


class ChunkReader:
    """Pixels of one scan out of an open file. Holds the descriptor for reading, does not close it."""

    def __init__(self, fd: int, facts: Facts) -> None:
        facts = _in_fine_strips(facts)
        self.fd, self.facts = fd, facts
        chunks = facts.chunks
        self.samples = 1 if facts.planar else facts.samples
        stored = np.dtype(np.uint8 if facts.depth_bits == 8 else np.uint16)
        self.native = stored
        self.stored = stored.newbyteorder(">" if facts.big_endian else "<")
        self.chunk_bytes = chunks.rows * chunks.width_px * self.samples * stored.itemsize
        if facts.compression_tag != 1 and self.chunk_bytes > MAX_CHUNK_BYTES:
            kind = "tile" if chunks.tiled else "strip"
            raise NotAScan(f"one {kind} alone holds {self.chunk_bytes:,} bytes; save the scan in smaller strips")

    def bands(self, rows: int) -> Iterator[Pixels]:
        """All rows from top to bottom, `rows` at a time (the last band is shorter)."""
        kept: list[Pixels] = []
        held = 0
        for piece in self._chunk_rows():
            first = 0
            while held + len(piece) - first >= rows:
                whole = [*kept, piece[first : first + rows - held]]
                first += rows - held
                kept, held = [], 0
                # a copy, or a small band would keep a whole row of large tiles in memory
                yield np.concatenate(whole) if len(whole) > 1 or len(piece) > rows else whole[0]
                del whole
            if first < len(piece):
                kept.append(piece[first:].copy() if first else piece)
                held += len(piece) - first
            del piece
        if held:
            yield np.concatenate(kept)

    def region(self, x: int, y: int, width: int, height: int) -> Pixels:
        """A rectangle inside the picture, decoded from the chunks it touches."""
        chunks = self.facts.chunks
        if self.facts.compression_tag == 1 and not chunks.tiled:
            return self._plain_region(x, y, width, height)
        first, last = y // chunks.rows, (y + height - 1) // chunks.rows
        left, right = x // chunks.width_px, (x + width - 1) // chunks.width_px
        bands = [self._chunk_row(down, left, right) for down in range(first, last + 1)]
        pixels = bands[0] if len(bands) == 1 else np.concatenate(bands)
        top, edge = y - first * chunks.rows, x - left * chunks.width_px
        return np.ascontiguousarray(pixels[top : top + height, edge : edge + width])

    def _plain_region(self, x: int, y: int, width: int, height: int) -> Pixels:
        """Uncompressed strips: of every row only the columns that are wanted."""
        facts, chunks = self.facts, self.facts.chunks
        pixel_bytes = self.samples * self.native.itemsize
        pixels: Pixels = np.empty((height, width, facts.channels), self.native)
        for plane in range(facts.channels if facts.planar else 1):
            block: Pixels = np.empty((height, width * pixel_bytes), np.uint8)
            for row in range(height):
                strip, inside = divmod(y + row, chunks.rows)
                offset = chunks.offsets[plane * chunks.down + strip] + (inside * facts.width_px + x) * pixel_bytes
                read_into(self.fd, offset, block[row].data)
            stored = block.view(self.stored).reshape(height, width, self.samples)
            target = slice(plane, plane + 1) if facts.planar else slice(None)
            pixels[:, :, target] = stored[:, :, : facts.channels]
        return np.invert(pixels) if facts.white_is_zero else pixels

    def _chunk_rows(self) -> Iterator[Pixels]:
        """Rows of chunks in order, the next ones being decoded while one is used, as far as memory is to be had."""
        chunks = self.facts.chunks
        ahead_rows = min(2, AHEAD_BYTES // (self.chunk_bytes * chunks.across))
        with ThreadPoolExecutor(2) as pool:
            ahead: deque[Future[Pixels]] = deque()
            for down in range(chunks.down):
                ahead.append(pool.submit(self._chunk_row, down, 0, chunks.across - 1))
                if len(ahead) > ahead_rows:
                    yield ahead.popleft().result()
            while ahead:
                yield ahead.popleft().result()

    def _chunk_row(self, down: int, left: int, right: int) -> Pixels:
        """Chunks `left` to `right` of one row of chunks, side by side, cut to the picture."""
        facts, chunks = self.facts, self.facts.chunks
        rows = min(chunks.rows, facts.height_px - down * chunks.rows)
        start = left * chunks.width_px
        columns = min((right + 1) * chunks.width_px, facts.width_px) - start
        pixels: Pixels = np.empty((rows, columns, facts.channels), self.native)
        for across in range(left, right + 1):
            x = across * chunks.width_px - start
            wide = min(chunks.width_px, columns - x)
            for plane in range(facts.channels if facts.planar else 1):
                index = (plane * chunks.down + down) * chunks.across + across
                chunk = self._chunk(index, rows)[:rows, :wide]
                target = slice(plane, plane + 1) if facts.planar else slice(None)
                pixels[:, x : x + wide, target] = chunk[:, :, : facts.channels]
        if facts.white_is_zero:
            np.invert(pixels, out=pixels)
        return pixels

    def _chunk(self, index: int, rows: int) -> Pixels:
        chunks = self.facts.chunks
        row_bytes = chunks.width_px * self.samples * self.native.itemsize
        needed = (chunks.rows if chunks.tiled else rows) * row_bytes
        offset, count = chunks.offsets[index], chunks.counts[index]
        if self.facts.compression_tag == 1:
            data = read_exactly(self.fd, offset, needed)
        else:
            data = self._decoded(index, read_exactly(self.fd, offset, count), needed)
        stored: Pixels = data.view(self.stored).reshape(-1, chunks.width_px, self.samples)
        pixels = stored.astype(self.native, copy=False)
        if self.facts.predictor == 2 and self.facts.compression_tag != 1:
            pixels = imagecodecs.delta_decode(pixels, axis=1)
        return pixels

    def _decoded(self, index: int, packed: Pixels, needed: int) -> Pixels:
        decode = DECODERS[self.facts.compression_tag]
        kind = "tile" if self.facts.chunks.tiled else "strip"
        where = f"{kind} {index + 1:,} of {len(self.facts.chunks.offsets):,}"
        try:
            data = np.frombuffer(decode(packed.tobytes(), out=self.chunk_bytes), np.uint8)
        except (RuntimeError, ValueError) as error:
            raise NotWhole(f"{where} cannot be decoded ({self.facts.compression}: {error}); {MEND}") from error
        if len(data) < needed:
            raise NotWhole(f"{where} decodes to {len(data):,} bytes where {needed:,} are needed; {MEND}")
        return data[:needed]
