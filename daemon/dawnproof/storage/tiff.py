"""Scans as bands of rows: one interface, three band readers, one pass that measures and digests.

The only home of tifffile and of libvips' loaders and savers. Uncompressed strips go the short way (`tiff_raw`), other
layouts are decoded chunk by chunk (`tiff_chunks`); libvips reads what is stored in chunks too large for that, and any
scan where it is asked for, so that one reader can be held against another.
"""

from __future__ import annotations

import logging
import os
import stat
import struct
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from enum import Enum
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

import numpy as np

from ..errors import NotAScan, NotWhole, ScanError
from .tiff_chunks import ChunkReader, Pixels
from .tiff_page import Facts, read_facts
from .tiff_raw import FileDigest, digest_file, lies_in_order, raw_bands
from .tiff_structure import MEND
from .tiff_write import MasterTags, Packing, Written, write_master
from .zero_tail import ZeroTail

__all__ = [
    "Facts",
    "MasterTags",
    "MeasurePass",
    "Packing",
    "Reader",
    "Scan",
    "Written",
    "measure_pass",
    "open_scan",
    "write_master",
]

BAND_BYTES: Final = 10 << 20  # a band this large keeps every thread busy and the memory small
LEAST_ROWS: Final = 64  # what the checks look at in one piece is up to so high
MOST_BAND_BYTES: Final = 40 << 20  # some bands are in memory at once: beyond this an absurdly wide scan has lower ones
CHUNK_BYTES_AT_ONCE: Final = 64 << 20
ASSOCIATED_ALPHA: Final = 1
ZSTD: Final = 50000


class Reader(Enum):
    """How the pixels are taken from the file."""

    RAW = "uncompressed strips, straight from the file"
    CHUNKS = "strips or tiles, decoded one by one"
    LIBVIPS = "libvips"


def open_scan(source: Path | str | int, max_pixels: int | None = None, reader: Reader | None = None) -> Scan:
    """Open a scan by path or descriptor (which is duplicated) and prove its structure whole.

    `max_pixels` bounds width times height before anything is decoded. Raises NotWhole, NotAScan with what, where and
    mend; ScanError when the file cannot be read at all.
    """
    try:
        flags = os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC
        fd = os.dup(source) if isinstance(source, int) else os.open(source, flags)
    except OSError as error:
        raise _unreadable(error) from error
    try:
        state = os.fstat(fd)
        if not stat.S_ISREG(state.st_mode):
            raise NotAScan("this is not a file but a folder, a link or a device; put the scan itself here")
        facts = read_facts(fd, state.st_size)
        if max_pixels is not None and facts.pixels > max_pixels:
            size = f"{facts.width_px:,} x {facts.height_px:,} px"
            raise NotAScan(f"it declares {size}, more than the {max_pixels:,} allowed; check file and bed")
        return Scan(fd, facts, reader or _best_reader(fd, facts))
    except OSError as error:
        os.close(fd)
        raise _unreadable(error) from error
    except BaseException:
        os.close(fd)
        raise


def measure_pass(source: Path | str | int, rows: int | None = None, max_pixels: int | None = None) -> MeasurePass:
    """Open a scan for one pass over all bands with the SHA-256 of the whole file taken beside it."""
    return MeasurePass(open_scan(source, max_pixels), rows)


class Scan:
    """One open scan. `facts` is its header; pixels come without alpha in native byte order."""

    def __init__(self, fd: int, facts: Facts, reader: Reader) -> None:
        self.fd, self.facts, self.reader = fd, facts, reader
        self._opened = os.fstat(fd)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        if self.fd >= 0:
            os.close(self.fd)
        self.fd = -1

    @property
    def usual_rows(self) -> int:
        """Rows of a band of about 10 MB, of a wide scan more."""
        row_bytes = self.facts.width_px * self.facts.channels * self.facts.sample_bytes
        least = max(1, min(LEAST_ROWS, MOST_BAND_BYTES // row_bytes))
        return max(least, min(1024, BAND_BYTES // row_bytes))

    def bands(self, rows: int | None = None) -> Iterator[Pixels]:
        """Bands (rows, columns, channels) from top to bottom, decoded strictly. Raises NotWhole where the picture
        ends early, cannot be decoded, or ends in zeros that were never picture."""
        return self._bands(rows or self.usual_rows, None)

    def region(self, x: int, y: int, width: int, height: int) -> Pixels:
        """A rectangle of pixels, which must lie inside the scan."""
        facts = self.facts
        inside = x >= 0 and y >= 0 and width > 0 and height > 0
        if not inside or x + width > facts.width_px or y + height > facts.height_px:
            raise ValueError(f"{width} x {height} px at {x}, {y} is not inside {facts.width_px} x {facts.height_px}")
        if self.reader is Reader.LIBVIPS:
            return _libvips_region(self.fd, facts, (x, y, width, height))
        return ChunkReader(self.fd, facts).region(x, y, width, height)

    def is_unchanged(self) -> bool:
        """Whether the file is still the one that was opened: same size and times."""
        now, then = os.fstat(self.fd), self._opened
        return (now.st_size, now.st_mtime_ns, now.st_ctime_ns) == (then.st_size, then.st_mtime_ns, then.st_ctime_ns)

    def _bands(self, rows: int, digest: FileDigest | None) -> Iterator[Pixels]:
        facts = self.facts
        if self.reader is Reader.RAW:
            bands = raw_bands(self.fd, facts, rows, digest)
        elif self.reader is Reader.CHUNKS:
            bands = ChunkReader(self.fd, facts).bands(rows)
        else:
            bands = _strict_libvips_bands(self.fd, facts, rows)
        tail = ZeroTail(facts) if facts.compression_tag == 1 else None  # a compressed zero does not decode
        try:
            for band in bands:
                if tail is not None:
                    tail.see(band)
                yield band
        except OSError as error:
            raise _unreadable(error) from error
        if tail is not None and (missing := tail.rows_missing()):
            raise NotWhole(f"the last {missing:,} of {facts.height_px:,} rows were never written (all zero); {MEND}")


class MeasurePass:
    """Iterate once over the bands, then ask for `sha256`. The file is closed when the pass ends, however it ends."""

    def __init__(self, scan: Scan, rows: int | None = None) -> None:
        self.scan, self.facts = scan, scan.facts
        self.rows = rows or scan.usual_rows
        self._sha256 = ""

    @property
    def sha256(self) -> str:
        """Of the whole file, header and trailing bytes included; known once all bands have been seen."""
        if not self._sha256:
            raise RuntimeError("the pass over the scan has not ended")
        return self._sha256

    def __iter__(self) -> Iterator[Pixels]:
        with self.scan as scan:
            if scan.reader is Reader.RAW:
                digest = FileDigest()
                try:
                    yield from scan._bands(self.rows, digest)
                    sha256 = digest.hexdigest()
                finally:
                    digest.close()
            else:
                with ThreadPoolExecutor(1) as just_ahead:
                    digesting = just_ahead.submit(digest_file, scan.fd, self.facts.size_bytes)
                    yield from scan._bands(self.rows, None)
                    sha256 = digesting.result()
            if not scan.is_unchanged():
                raise NotWhole("the file changed while it was measured; it is looked at again once settled")
            self._sha256 = sha256


def _unreadable(error: OSError) -> ScanError:
    return ScanError(f"the file cannot be read ({error.strerror}); check the disk, the folder and its permissions")


def _best_reader(fd: int, facts: Facts) -> Reader:
    if lies_in_order(facts):
        return Reader.RAW
    chunk = facts.chunks.rows * facts.chunks.width_px * facts.samples * facts.sample_bytes
    fits = facts.compression_tag == 1 or chunk <= CHUNK_BYTES_AT_ONCE
    return Reader.CHUNKS if fits or not _libvips_can_read(facts) else Reader.LIBVIPS


def _libvips_can_read(facts: Facts) -> bool:
    """Not: inner pictures, planes in tiles, colours multiplied by alpha (divided again), and ZSTD: libvips 8.18.7 from
    its wheel has no decoder for it, says so for strips, but gives wrong pixels for tiles without an error."""
    odd = ASSOCIATED_ALPHA in facts.extra_samples or facts.compression_tag == ZSTD
    return facts.page_number is not None and not (facts.planar and facts.chunks.tiled) and not odd


def _libvips() -> Any:
    """Imported on first use: most scans never need it, and it costs 0.1 s and 60 MB."""
    os.environ["VIPS_BLOCK_UNTRUSTED"] = "1"
    import pyvips

    pyvips.cache_set_max(0)  # or a new scan under an old name would be answered with the old pixels
    return pyvips


def _libvips_image(fd: int, facts: Facts, access: str, fail_on: str) -> Any:
    if not _libvips_can_read(facts):
        raise NotAScan("libvips cannot read this layout of TIFF; save the scan in plain strips")
    name = f"/proc/self/fd/{fd}"  # the inode that was checked, whatever its name means by now
    image = _libvips().Image.tiffload(name, page=facts.page_number, access=access, fail_on=fail_on)
    wanted = (facts.width_px, facts.height_px, facts.samples, "uchar" if facts.depth_bits == 8 else "ushort")
    if (image.width, image.height, image.bands, image.format) != wanted or image.get("vips-loader") != "tiffload":
        raise NotAScan("two readers disagree on the size or type of this picture; save the scan again")
    return image


def _fetched(image: Any, facts: Facts, box: tuple[int, int, int, int]) -> Pixels:
    region = _libvips().Region.new(image)
    native = np.uint8 if facts.depth_bits == 8 else np.uint16
    pixels = np.frombuffer(region.fetch(*box), native).reshape(box[3], box[2], facts.samples)
    return np.ascontiguousarray(pixels[:, :, : facts.channels])


def _libvips_region(fd: int, facts: Facts, box: tuple[int, int, int, int]) -> Pixels:
    try:
        return _fetched(_libvips_image(fd, facts, "random", "error"), facts, box)
    except _libvips().Error as error:
        raise _undecodable(error) from error


def _undecodable(error: Exception) -> NotWhole:
    return NotWhole(f"the picture cannot be decoded ({_last_line(error)}); {MEND}")


def _strict_libvips_bands(fd: int, facts: Facts, rows: int) -> Iterator[Pixels]:
    """libvips finds every cut with 'warning', but then refuses sound files with unusual tags too: where only
    'warning' complains, the bands go on with 'error' and tifffile decodes the whole once more and decides."""
    refused = _libvips().Error
    done = 0
    try:
        for band in _libvips_bands(fd, facts, rows, "warning", 0):
            done += len(band)
            yield band
    except refused:
        pass
    else:
        return
    try:
        yield from _libvips_bands(fd, facts, rows, "error", done)
    except refused as error:
        raise _undecodable(error) from error
    _let_tifffile_decide(fd, facts)


def _libvips_bands(fd: int, facts: Facts, rows: int, fail_on: str, skip: int) -> Iterator[Pixels]:
    image = _libvips_image(fd, facts, "sequential", fail_on)
    for first in range(0, facts.height_px, rows):
        band = _fetched(image, facts, (0, first, facts.width_px, min(rows, facts.height_px - first)))
        if first >= skip:
            yield band


def _let_tifffile_decide(fd: int, facts: Facts) -> None:
    """Decode every strip or tile with tifffile; NotWhole when one is missing or cannot be decoded."""
    import tifffile  # rarely needed, and slow to import

    logging.getLogger("tifffile").setLevel(logging.CRITICAL)
    try:
        with Path(f"/proc/self/fd/{fd}").open("rb") as file, tifffile.TiffFile(file) as whole:
            page = whole.pages[facts.page_number or 0]
            for pixels, _, _ in page.aspage().segments(maxworkers=1):
                if pixels is None:
                    raise NotWhole(f"a strip or tile of the picture is missing; {MEND}")
    except (tifffile.TiffFileError, RuntimeError, ValueError, TypeError, KeyError, struct.error) as error:
        raise _undecodable(error) from error


def _last_line(error: Exception) -> str:
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    return lines[-1] if lines else "no reason given"
