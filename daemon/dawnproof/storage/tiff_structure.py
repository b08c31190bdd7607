"""Is this TIFF whole? Every directory, tag and chunk of picture data must lie inside the file.

A parser of its own, because decoders are built to be lenient: they stop quietly at a broken page pointer or fill
missing rows with zeros. Classic and BigTIFF (TIFF 6.0; the BigTIFF layout of libtiff), either byte order.
"""

from __future__ import annotations

import os
import struct
from array import array
from dataclasses import dataclass
from typing import Final

from ..errors import NotAScan, NotWhole

MAX_DIRECTORIES: Final = 64
MAX_ENTRIES: Final = 4096
MAX_CHUNKS: Final = 4_000_000
MAX_VALUE_BYTES: Final = 16 * 1024 * 1024  # of one tag that is read whole; chunk tables have their own bound
MEND: Final = "if nothing is writing it any more, save or copy the scan again"

NEW_SUBFILE_TYPE, SUBFILE_TYPE, WIDTH, LENGTH, SAMPLES = 254, 255, 256, 257, 277
STRIP_OFFSETS, ROWS_PER_STRIP, STRIP_COUNTS, PLANAR = 273, 278, 279, 284
TILE_WIDTH, TILE_LENGTH, TILE_OFFSETS, TILE_COUNTS, SUB_IFDS = 322, 323, 324, 325, 330
EXIF_IFD, GPS_IFD, JPEG_OFFSET, JPEG_LENGTH = 34665, 34853, 513, 514

BYTES_OF_KIND: Final = {
    1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8,
}  # fmt: skip
INTEGER_KINDS: Final = {1: "B", 3: "H", 4: "I", 13: "I", 16: "Q", 18: "Q"}
FRACTION_KINDS: Final = {5: "II", 10: "ii", 11: "f", 12: "d"}


@dataclass(frozen=True, slots=True)
class Entry:
    """One tag of a directory: its kind (field type), number of values, and where in the file they lie."""

    tag: int
    kind: int
    count: int
    value_at: int

    @property
    def bytes(self) -> int:
        return self.count * BYTES_OF_KIND[self.kind]


@dataclass(frozen=True, slots=True)
class Directory:
    """One IFD. `place` is how a person would name it: 'page 2', 'page 1, inner picture 3'."""

    place: str
    offset: int
    entries: dict[int, Entry]
    next_offset: int


@dataclass(frozen=True, slots=True)
class Chunks:
    """Strips or tiles of one page in the order of the tables; a strip is a chunk as wide as the picture."""

    tiled: bool
    width_px: int
    rows: int
    across: int
    down: int
    planes: int
    offsets: array[int]
    counts: array[int]


@dataclass(frozen=True, slots=True)
class Structure:
    """All directories of a file that has been found whole, main pages first, and their chunk tables."""

    size: int
    big_endian: bool
    big_tiff: bool
    pages: tuple[Directory, ...]
    inner: tuple[Directory, ...]
    chunks: dict[int, Chunks]  # by offset of the directory


class TiffBytes:
    """Bounded reads of an open file: nothing outside it is asked for, nothing large is read by surprise."""

    def __init__(self, fd: int, size: int) -> None:
        self.fd, self.size = fd, size
        header = self.read(0, 8, "the header") if size >= 8 else b""
        if not any(header):
            raise NotWhole(f"the file holds {size} bytes and no TIFF header yet; {MEND}")
        self.order = {b"II": "<", b"MM": ">"}.get(header[:2], "")
        version = struct.unpack(self.order + "H", header[2:4])[0] if self.order else 0
        if version not in (42, 43):
            raise NotAScan("this is not a TIFF: its first bytes are not a TIFF header; save the scan as TIFF")
        self.big = version == 43
        if self.big:
            offset_bytes, zero, self.first = self.unpack("HHQ", 4, "the BigTIFF header")
            if (offset_bytes, zero) != (8, 0):
                raise NotAScan("damaged BigTIFF header; save the scan again")
        else:
            (self.first,) = self.unpack("I", 4, "the header")

    def read(self, offset: int, count: int, what: str) -> bytes:
        """Exactly `count` bytes; NotWhole when they are not all in the file."""
        if offset + count > self.size:
            raise NotWhole(
                f"cut off: {what} should reach byte {offset + count:,}, the file ends at {self.size:,}; {MEND}"
            )
        data = os.pread(self.fd, count, offset)
        while len(data) < count:
            more = os.pread(self.fd, count - len(data), offset + len(data))
            if not more:
                raise NotWhole(f"cut off: the file became shorter while {what} was read; {MEND}")
            data += more
        return data

    def unpack(self, layout: str, offset: int, what: str) -> tuple[int, ...]:
        layout = self.order + layout
        return struct.unpack(layout, self.read(offset, struct.calcsize(layout), what))

    def raw(self, entry: Entry, what: str) -> bytes:
        if entry.bytes > MAX_VALUE_BYTES:
            raise NotAScan(f"{what} claims {entry.bytes:,} bytes, which no scan needs; save the scan again")
        return self.read(entry.value_at, entry.bytes, what)

    def integers(self, entry: Entry, what: str, most_bytes: int = MAX_VALUE_BYTES) -> array[int]:
        """Unsigned values of a tag, in order."""
        code = INTEGER_KINDS.get(entry.kind)
        if code is None:
            raise NotAScan(f"damaged: {what} is not stored as whole numbers; save the scan again")
        if entry.bytes > most_bytes:
            raise NotAScan(f"{what} claims {entry.bytes:,} bytes, which no scan needs; save the scan again")
        values: array[int] = array(code)
        values.frombytes(self.read(entry.value_at, entry.bytes, what))
        if (self.order == ">") == (struct.pack("=H", 1) == struct.pack("<H", 1)):
            values.byteswap()
        return values

    def fractions(self, entry: Entry, what: str) -> list[float]:
        """Values of a tag as floats; 0/0 and the like come back as 0.0, which no physical size can be."""
        if entry.kind in INTEGER_KINDS:
            return [float(value) for value in self.integers(entry, what)]
        layout = FRACTION_KINDS.get(entry.kind)
        if layout is None:
            return []
        data = self.raw(entry, what)
        numbers = list(struct.iter_unpack(self.order + layout, data))
        return [(n[0] / n[1] if n[1] else 0.0) if len(n) == 2 else float(n[0]) for n in numbers]


def read_structure(fd: int, size: int) -> Structure:
    """Walk the whole file. Raises NotWhole for what is missing, NotAScan for what no writer would leave so."""
    data = TiffBytes(fd, size)
    if not data.first:
        raise NotWhole(f"the page directory is not written yet; {MEND}")
    pages: list[Directory] = []
    inner: list[Directory] = []
    seen: set[int] = set()
    _walk(data, data.first, "page", pages, seen)
    for page in pages:
        inner += _inner_directories(data, page, seen)
    chunks = {}
    for directory in (*pages, *inner):
        table = _chunks(data, directory, must=directory in pages)
        if table is not None:
            chunks[directory.offset] = table
    return Structure(size, data.order == ">", data.big, tuple(pages), tuple(inner), chunks)


def _walk(data: TiffBytes, offset: int, name: str, into: list[Directory], seen: set[int]) -> None:
    number = 0
    while offset:
        number += 1
        place = f"{name} {number}"
        if offset in seen:
            raise NotAScan(f"damaged: the list of pages runs in a circle at {place}; save the scan again")
        if len(seen) >= MAX_DIRECTORIES:
            raise NotAScan(f"the file holds more than {MAX_DIRECTORIES} pages; save the scan as a single page")
        seen.add(offset)
        directory = _directory(data, offset, place)
        into.append(directory)
        offset = directory.next_offset


def _directory(data: TiffBytes, offset: int, place: str) -> Directory:
    count_layout, entry_layout, next_layout = ("Q", "HHQ8s", "Q") if data.big else ("H", "HHI4s", "I")
    (count,) = data.unpack(count_layout, offset, f"the directory of {place}")
    if count == 0:
        raise NotWhole(f"the directory of {place} is empty, as while a file is being written; {MEND}")
    if count > MAX_ENTRIES:
        raise NotAScan(f"damaged: the directory of {place} claims {count:,} tags; save the scan again")
    start = offset + struct.calcsize(data.order + count_layout)
    size = struct.calcsize(data.order + entry_layout)
    block = data.read(start, count * size, f"the directory of {place}")
    entries: dict[int, Entry] = {}
    field = size - (8 if data.big else 4)
    for index, (tag, kind, number, value) in enumerate(struct.iter_unpack(data.order + entry_layout, block)):
        if kind not in BYTES_OF_KIND or number == 0:
            continue  # TIFF 6.0, section 2: readers skip fields of an unexpected type
        entry = Entry(tag, kind, number, start + index * size + field)
        if entry.bytes > len(value):
            entry = Entry(tag, kind, number, _value_offset(data, entry, value, place))
        entries.setdefault(tag, entry)
    (next_offset,) = data.unpack(next_layout, start + count * size, f"the directory of {place}")
    return Directory(place, offset, entries, next_offset)


def _value_offset(data: TiffBytes, entry: Entry, value: bytes, place: str) -> int:
    offset = int(struct.unpack(data.order + ("Q" if data.big else "I"), value)[0])
    if offset + entry.bytes > data.size:
        raise NotWhole(
            f"cut off: tag {entry.tag} of {place} should reach byte {offset + entry.bytes:,}, the file ends at "
            f"{data.size:,}; {MEND}"
        )
    return offset


def _inner_directories(data: TiffBytes, page: Directory, seen: set[int]) -> list[Directory]:
    found: list[Directory] = []
    if SUB_IFDS in page.entries:
        for offset in data.integers(page.entries[SUB_IFDS], f"the list of inner pictures of {page.place}"):
            if offset == 0:
                raise NotWhole(f"an inner picture of {page.place} is not written yet; {MEND}")
            if offset in {directory.offset for directory in found}:
                continue  # some writers list inner pictures and chain them as well
            _walk(data, offset, f"{page.place}, inner picture", found, seen)
    for tag, name in ((EXIF_IFD, "camera data"), (GPS_IFD, "place data")):
        if tag in page.entries:
            (offset, *_) = data.integers(page.entries[tag], f"the {name} of {page.place}")
            _directory(data, offset, f"{page.place}, {name}")
    return found


def _one(data: TiffBytes, directory: Directory, tag: int, default: int) -> int:
    entry = directory.entries.get(tag)
    return int(data.integers(entry, f"tag {tag} of {directory.place}")[0]) if entry else default


def _chunks(data: TiffBytes, directory: Directory, must: bool) -> Chunks | None:
    """The chunk table of one picture, every chunk proven to lie in the file; None for an inner directory without a
    picture."""
    place, tags = directory.place, directory.entries
    width, height = _one(data, directory, WIDTH, 0), _one(data, directory, LENGTH, 0)
    if not (width and height):
        if must:
            raise NotAScan(f"damaged: {place} has no width or no height; save the scan again")
        return None
    if JPEG_OFFSET in tags and JPEG_LENGTH in tags and not {STRIP_OFFSETS, TILE_OFFSETS} & tags.keys():
        start, length = _one(data, directory, JPEG_OFFSET, 0), _one(data, directory, JPEG_LENGTH, 0)
        data.read(max(start + length - 1, 0), 1, f"the picture of {place}")
        return None
    planes = max(_one(data, directory, SAMPLES, 1), 1) if _one(data, directory, PLANAR, 1) == 2 else 1
    tiled = TILE_OFFSETS in tags or TILE_WIDTH in tags
    if tiled:
        chunk_width, rows = _one(data, directory, TILE_WIDTH, 0), _one(data, directory, TILE_LENGTH, 0)
    else:
        chunk_width, rows = width, min(_one(data, directory, ROWS_PER_STRIP, height), height)
    if not (chunk_width and rows):
        raise NotAScan(f"damaged: {place} has strips or tiles without a size; save the scan again")
    across, down = -(-width // chunk_width), -(-height // rows)
    name = "tiles" if tiled else "strips"
    expected = across * down * planes
    offsets = _table(data, directory, TILE_OFFSETS if tiled else STRIP_OFFSETS, expected, name)
    counts = _table(data, directory, TILE_COUNTS if tiled else STRIP_COUNTS, expected, name)
    _all_inside(data, offsets, counts, f"{name[:-1]} {{}} of {expected:,} of {place}")
    return Chunks(tiled, chunk_width, rows, across, down, planes, offsets, counts)


def _table(data: TiffBytes, directory: Directory, tag: int, expected: int, name: str) -> array[int]:
    place = directory.place
    entry = directory.entries.get(tag)
    if entry is None:
        raise NotAScan(f"damaged: {place} does not say where its {name} are; save the scan again")
    if expected > MAX_CHUNKS:
        raise NotAScan(f"{place} claims {expected:,} {name}, more than any scan has; save the scan again")
    if entry.count != expected:
        raise NotWhole(f"{place} lists {entry.count:,} {name} where its size needs {expected:,}; {MEND}")
    return data.integers(entry, f"the table of {name} of {place}", most_bytes=MAX_CHUNKS * 8)


def _all_inside(data: TiffBytes, offsets: array[int], counts: array[int], name: str) -> None:
    for index, (offset, count) in enumerate(zip(offsets, counts, strict=True), start=1):
        where = name.format(f"{index:,}")
        if offset == 0 or count == 0:
            raise NotWhole(f"{where} is not written yet; {MEND}")
        if offset + count > data.size:
            raise NotWhole(
                f"cut off: {where} should reach byte {offset + count:,}, the file ends at {data.size:,}; {MEND}"
            )
