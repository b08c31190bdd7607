"""Production masters as TIFF, streamed band by band: never more than a few bands in memory, never half a file.

Written in the order in which the bytes lie in the file, directory first, so that an uncompressed master is digested
while it is written. Baseline TIFF 6.0 with ICC and XMP; BigTIFF where the classic kind would become too large.
"""

from __future__ import annotations

import hashlib
import os
import struct
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from html import escape
from pathlib import Path
from typing import Final

import imagecodecs
import numpy as np

from ..errors import MoveError
from ..model import Identity, shown
from .disk import digest_of, failed, fsync_dir, rename_noreplace, write_all
from .tiff_chunks import Pixels

CLASSIC_MOST_BYTES: Final = 3_900_000_000
STRIP_BYTES: Final = 1 << 20
BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, LONG8 = 1, 2, 3, 4, 5, 7, 16
FORMATS: Final = {SHORT: "H", LONG: "I", RATIONAL: "II", LONG8: "Q"}


class Packing(Enum):
    """How the samples of a master are stored: its TIFF compression number."""

    NONE = 1
    DEFLATE = 8  # with horizontal differencing (predictor 2)


@dataclass(frozen=True, slots=True)
class MasterTags:
    """What a master says of itself. `date_time` as TIFF has it, 'YYYY:MM:DD HH:MM:SS'; `xmp` a whole packet, made from
    the other fields when empty."""

    job: str
    sources: tuple[str, ...]
    software: str
    description: str = ""
    date_time: str = ""
    xmp: bytes = b""


@dataclass(frozen=True, slots=True)
class Written:
    """A master as it stands on disk."""

    sha256: str
    bytes: int
    identity: Identity


@dataclass(frozen=True, slots=True)
class Plan:
    """The layout of one master: chunks of `chunk_width` x `chunk_rows`, strips where that is the full width."""

    width: int
    height: int
    channels: int
    bits: int
    packing: Packing
    chunk_width: int
    chunk_rows: int
    big: bool

    @property
    def tiled(self) -> bool:
        return self.chunk_width != self.width

    @property
    def across(self) -> int:
        return -(-self.width // self.chunk_width)

    @property
    def down(self) -> int:
        return -(-self.height // self.chunk_rows)

    @property
    def dtype(self) -> np.dtype[np.uint8] | np.dtype[np.uint16]:
        return np.dtype("u1") if self.bits == 8 else np.dtype("<u2")

    def plain_counts(self) -> list[int]:
        """Bytes of each chunk when nothing is compressed."""
        row = self.chunk_width * self.channels * self.bits // 8
        if self.tiled:
            return [row * self.chunk_rows] * (self.across * self.down)
        last = self.height - (self.down - 1) * self.chunk_rows
        return [row * self.chunk_rows] * (self.down - 1) + [row * last]


def write_master(
    path: Path,
    bands: Iterable[Pixels],
    width: int,
    height: int,
    channels: int,
    bits: int,
    icc: bytes | None,
    ppi: tuple[float, float] | None,
    tags: MasterTags,
    progress: Callable[[int], None] = lambda rows: None,
    packing: Packing = Packing.NONE,
    tile_px: int | None = None,
    replace: bool = False,
    part_name: str = "",
) -> Written:
    """Write bands (rows, width, channels) of uint8 or uint16, top to bottom, as a durable file with its digest.

    Written beside its place as `part_name`, fsynced and only then named; another file at the name is a MoveError
    unless `replace`. `ppi` is across, down. `progress` is told the rows written so far. ValueError when the bands do
    not add up.
    """
    plan = _plan(width, height, channels, bits, packing, tile_px)
    part = path.parent / (part_name or f".{hashlib.sha256(os.fsencode(path.name)).hexdigest()[:16]}.part")
    try:
        part.unlink(missing_ok=True)
        fd = os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o666)
        try:
            sha256 = _write(fd, plan, bands, _directory_values(plan, icc, ppi, tags), progress)
            os.fsync(fd)
            size = os.fstat(fd).st_size
        finally:
            os.close(fd)
        if replace:
            part.replace(path)
        else:
            rename_noreplace(part, path)
        fsync_dir(path.parent)
        return Written(sha256, size, Identity.of(path.lstat()))
    except FileExistsError as error:
        raise MoveError(f"another file stands at {shown(str(path))}; it is kept, choose another name") from error
    except OSError as error:
        raise failed("writing", path, error) from error
    finally:
        with suppress(OSError):  # gone already after a rename
            part.unlink(missing_ok=True)


def xmp_packet(tags: MasterTags) -> bytes:
    """Job, source scans and software as an XMP packet (dc:identifier, dc:description, xmpMM:Ingredients)."""
    sources = "".join(f"<rdf:li>{_xml(source)}</rdf:li>" for source in tags.sources)
    date = _iso_date(tags.date_time)
    body = (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/">'
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about=""'
        ' xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/">'
        f"<dc:identifier>{_xml(tags.job)}</dc:identifier>"
        f'<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{_xml(tags.description)}</rdf:li></rdf:Alt>'
        f"</dc:description><dc:source><rdf:Bag>{sources}</rdf:Bag></dc:source>"
        f"<xmp:CreatorTool>{_xml(tags.software)}</xmp:CreatorTool>"
        + (f"<xmp:CreateDate>{date}</xmp:CreateDate>" if date else "")
        + "</rdf:Description></rdf:RDF></x:xmpmeta>"
    )
    return f'<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>{body}<?xpacket end="w"?>'.encode()


def _xml(text: str) -> str:
    return escape(shown(text), quote=False)


def _iso_date(date_time: str) -> str:
    day, _, time = date_time.partition(" ")
    return f"{day.replace(':', '-')}T{time}" if time else ""


def _plan(width: int, height: int, channels: int, bits: int, packing: Packing, tile_px: int | None) -> Plan:
    if bits not in (8, 16) or channels not in (1, 3) or width < 1 or height < 1:
        raise ValueError(f"no master of {width} x {height} px, {channels} channels, {bits} bits can be written")
    if tile_px is not None and tile_px % 16:
        raise ValueError("the side of a tile is a multiple of 16 (TIFF 6.0, section 15)")
    row_bytes = width * channels * bits // 8
    rows = tile_px or min(height, max(1, STRIP_BYTES // row_bytes))
    plan = Plan(width, height, channels, bits, packing, tile_px or width, rows, False)
    big = sum(plan.plain_counts()) > CLASSIC_MOST_BYTES
    return Plan(width, height, channels, bits, packing, tile_px or width, rows, big)


def _directory_values(
    plan: Plan, icc: bytes | None, ppi: tuple[float, float] | None, tags: MasterTags
) -> dict[int, tuple[int, bytes, int]]:
    """Field type, packed values and count of every tag but the chunk tables."""
    values: dict[int, tuple[int, bytes, int]] = {}

    def put(tag: int, kind: int, *numbers: int) -> None:
        packed = b"".join(struct.pack("<" + FORMATS[kind][0], number) for number in numbers)
        values[tag] = (kind, packed, len(numbers) // (2 if kind == RATIONAL else 1))

    def put_bytes(tag: int, kind: int, data: bytes) -> None:
        if data:
            values[tag] = (kind, data, len(data))

    put(254, LONG, 0)
    put(256, LONG, plan.width)
    put(257, LONG, plan.height)
    put(258, SHORT, *[plan.bits] * plan.channels)
    put(259, SHORT, plan.packing.value)
    put(262, SHORT, 2 if plan.channels == 3 else 1)
    put(274, SHORT, 1)
    put(277, SHORT, plan.channels)
    put(284, SHORT, 1)
    put(339, SHORT, *[1] * plan.channels)
    if plan.packing is Packing.DEFLATE:
        put(317, SHORT, 2)
    if plan.tiled:
        put(322, LONG, plan.chunk_width)
        put(323, LONG, plan.chunk_rows)
    else:
        put(278, LONG, plan.chunk_rows)
    if ppi is not None:
        put(282, RATIONAL, *_rational(ppi[0]))
        put(283, RATIONAL, *_rational(ppi[1]))
        put(296, SHORT, 2)
    for tag, text in ((269, tags.job), (270, tags.description), (305, tags.software), (306, tags.date_time)):
        put_bytes(tag, ASCII, shown(text).encode() + b"\0" if text else b"")
    put_bytes(700, BYTE, tags.xmp or xmp_packet(tags))
    put_bytes(34675, UNDEFINED, icc or b"")
    return values


def _rational(value: float) -> tuple[int, int]:
    fraction = Fraction(value).limit_denominator(100_000)
    return fraction.numerator, fraction.denominator


def _write(
    fd: int,
    plan: Plan,
    bands: Iterable[Pixels],
    values: dict[int, tuple[int, bytes, int]],
    progress: Callable[[int], None],
) -> str:
    counts = plan.plain_counts()
    head = _head(plan, values, counts)
    sha = hashlib.sha256(head)
    write_all(fd, memoryview(head))
    stored: list[int] = []
    with ThreadPoolExecutor(2) as pool:
        for number, rows in enumerate(_chunk_rows(plan, bands), start=1):
            for chunk in pool.map(lambda pixels: _packed(plan, pixels), _chunks(plan, rows)):
                digesting = pool.submit(sha.update, chunk)
                write_all(fd, chunk)
                digesting.result()  # the band's memory may be used again by whoever made it
                stored.append(len(chunk))
            progress(min(number * plan.chunk_rows, plan.height))
    if stored == counts:
        return sha.hexdigest()
    head = _head(plan, values, stored)
    os.pwrite(fd, head, 0)
    return digest_of(fd)


def _head(plan: Plan, values: dict[int, tuple[int, bytes, int]], counts: list[int]) -> bytes:
    """Header, directory, the values that do not fit into it; the first chunk begins right behind, on an even byte."""
    table_kind, table_code, inline = (LONG8, "Q", 8) if plan.big else (LONG, "I", 4)
    all_values = dict(values)
    tables = (324, 325) if plan.tiled else (273, 279)
    for tag in tables:
        all_values[tag] = (table_kind, bytes(struct.calcsize("<" + table_code) * len(counts)), len(counts))
    entry_bytes = 20 if plan.big else 12
    start = (16 + 8 if plan.big else 8 + 2) + entry_bytes * len(all_values) + (8 if plan.big else 4)
    total = start + sum(len(data) + len(data) % 2 for _, data, _ in all_values.values() if len(data) > inline)
    total += -total % 16
    offsets = [total]
    for count in counts[:-1]:
        offsets.append(offsets[-1] + count)
    for tag, numbers in zip(tables, (offsets, counts), strict=True):
        all_values[tag] = (table_kind, struct.pack(f"<{len(numbers)}{table_code}", *numbers), len(numbers))
    entries, extra = b"", b""
    for tag in sorted(all_values):
        kind, data, count = all_values[tag]
        entries += struct.pack("<HHQ" if plan.big else "<HHI", tag, kind, count)
        if len(data) > inline:
            entries += struct.pack("<" + table_code, start + len(extra))
            extra += data + b"\0" * (len(data) % 2)
        else:
            entries += data.ljust(inline, b"\0")
    header = struct.pack("<2sHHHQ", b"II", 43, 8, 0, 16) if plan.big else struct.pack("<2sHI", b"II", 42, 8)
    number = struct.pack("<Q" if plan.big else "<H", len(all_values))
    return (header + number + entries + bytes(8 if plan.big else 4) + extra).ljust(total, b"\0")


def _chunk_rows(plan: Plan, bands: Iterable[Pixels]) -> Iterator[Pixels]:
    """The bands cut anew into as many rows as a chunk has."""
    held: list[Pixels] = []
    count = seen = 0
    for band in bands:
        if band.shape[1:] != (plan.width, plan.channels) or band.dtype.itemsize * 8 != plan.bits:
            raise ValueError(f"a band of {band.shape} {band.dtype} does not belong to {plan}")
        seen += len(band)
        while count + len(band) >= plan.chunk_rows:
            cut = plan.chunk_rows - count
            yield np.concatenate([*held, band[:cut]]) if held else band[:cut]
            band, held, count = band[cut:], [], 0
        if len(band):
            held.append(band.copy())
            count += len(band)
    if seen != plan.height:
        raise ValueError(f"the bands hold {seen} rows, the master {plan.height}")
    if held:
        yield np.concatenate(held)


def _chunks(plan: Plan, rows: Pixels) -> Iterator[Pixels]:
    if not plan.tiled:
        yield rows
        return
    for left in range(0, plan.width, plan.chunk_width):
        tile = np.zeros((plan.chunk_rows, plan.chunk_width, plan.channels), plan.dtype)
        part = rows[:, left : left + plan.chunk_width]
        tile[: part.shape[0], : part.shape[1]] = part
        yield tile


def _packed(plan: Plan, pixels: Pixels) -> memoryview:
    stored = np.ascontiguousarray(pixels, plan.dtype)
    if plan.packing is Packing.NONE:
        return stored.reshape(-1).view(np.uint8).data
    return memoryview(imagecodecs.deflate_encode(imagecodecs.delta_encode(stored, axis=1).tobytes(), level=6))
