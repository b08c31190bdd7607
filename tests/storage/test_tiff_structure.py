"""Whole or not, and why: hand-made TIFFs with one fault each, and every real file cut at many places."""

from __future__ import annotations

import io
import os
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import product
from pathlib import Path

import numpy as np
import pytest
import tifffile

from dawnproof.errors import NotAScan, NotWhole, ScanError
from dawnproof.storage.tiff_page import Facts, read_facts
from dawnproof.storage.tiff_structure import Structure, read_structure

LONG, SHORT, RATIONAL, FLOAT = 4, 3, 5, 11
GREY = {256: (LONG, 4), 257: (LONG, 2), 258: (SHORT, 8), 259: (SHORT, 1), 262: (SHORT, 1), 273: (LONG, 8)}
GREY |= {277: (SHORT, 1), 278: (LONG, 2), 279: (LONG, 8)}


def classic(*directories: dict[int, tuple[int, int]], order: str = "<", links: tuple[int, ...] | None = None) -> bytes:
    """A classic TIFF: eight bytes of picture behind the header, then the directories one behind the other; `links`
    overrides which directory each one names as its next (its number, or -1 for none)."""
    sizes = [2 + 12 * len(directory) + 4 for directory in directories]
    starts = [16 + sum(sizes[:index]) for index in range(len(sizes))]
    links = links or (*range(1, len(directories)), -1)
    data = (b"II" if order == "<" else b"MM") + struct.pack(order + "HI", 42, 16) + bytes(range(1, 9))
    for directory, link in zip(directories, links, strict=True):
        data += struct.pack(order + "H", len(directory))
        for tag, (kind, value) in sorted(directory.items()):
            packed = struct.pack(order + ("H2x" if kind == SHORT else "I"), value)
            data += struct.pack(order + "HHI", tag, kind, 1) + packed
        data += struct.pack(order + "I", starts[link] if link >= 0 else 0)
    return data


@contextmanager
def opened(data: bytes) -> Iterator[tuple[int, int]]:
    fd = os.memfd_create("scan")
    try:
        os.write(fd, data)
        yield fd, len(data)
    finally:
        os.close(fd)


def facts_of(data: bytes) -> Facts:
    with opened(data) as (fd, size):
        return read_facts(fd, size)


def structure_of(data: bytes) -> Structure:
    with opened(data) as (fd, size):
        return read_structure(fd, size)


def written(shape: tuple[int, ...] = (50, 40, 3), **options: object) -> bytes:
    file = io.BytesIO()
    pixels = np.random.default_rng(1).integers(1, 65535, shape, "u2")
    tifffile.imwrite(file, pixels, **{"photometric": "rgb", **options})  # type: ignore[arg-type]
    return file.getvalue()


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_small_whole_file_is_described(order: str) -> None:
    facts = facts_of(classic(GREY, order=order))
    assert (facts.width_px, facts.height_px, facts.channels, facts.depth_bits) == (4, 2, 1, 8)
    assert facts.big_endian == (order == ">")
    assert list(facts.chunks.offsets) == [8]


@pytest.mark.parametrize(
    ("change", "error", "word"),
    [
        ({273: (LONG, 0)}, NotWhole, "not written yet"),
        ({279: (LONG, 0)}, NotWhole, "not written yet"),
        ({279: (LONG, 9000)}, NotWhole, "cut off"),
        ({279: (LONG, 7)}, NotWhole, "8 are needed"),
        ({278: (LONG, 1)}, NotWhole, "its size needs 2"),
        ({256: (LONG, 0)}, NotAScan, "no width"),
        ({259: (SHORT, 7)}, NotAScan, "JPEG"),
        ({262: (SHORT, 5)}, NotAScan, "CMYK"),
        ({262: (SHORT, 8)}, NotAScan, "CIELab"),
        ({262: (SHORT, 3)}, NotAScan, "palette"),
        ({258: (SHORT, 12)}, NotAScan, "12 bits"),
        ({258: (SHORT, 1)}, NotAScan, "1 bits"),
        ({339: (SHORT, 2)}, NotAScan, "signed"),
        ({339: (SHORT, 3)}, NotAScan, "floating"),
        ({317: (SHORT, 3)}, NotAScan, "predictor"),
        ({266: (SHORT, 2)}, NotAScan, "reversed"),
        ({330: (LONG, 0)}, NotWhole, "inner picture"),
        ({330: (LONG, 5000)}, NotWhole, "cut off"),
        ({34665: (LONG, 5000)}, NotWhole, "camera data"),
        ({257: (LONG, 2**31), 278: (LONG, 1)}, NotAScan, "more than any scan"),
    ],
)
def test_each_fault_has_its_sentence(change: dict[int, tuple[int, int]], error: type[ScanError], word: str) -> None:
    with pytest.raises(error, match=word) as caught:
        facts_of(classic(GREY | change))
    assert "; " in str(caught.value), "the sentence ends with what to do"


def test_missing_chunk_table_is_no_scan() -> None:
    without = {tag: value for tag, value in GREY.items() if tag != 273}
    with pytest.raises(NotAScan, match="does not say where"):
        facts_of(classic(without))


@pytest.mark.parametrize(("links", "where"), [((0,), "page 2"), ((1, 0), "page 3"), ((1, 1), "page 3")])
def test_a_circle_of_pages_ends(links: tuple[int, ...], where: str) -> None:
    with pytest.raises(NotAScan, match=f"circle at {where}"):
        structure_of(classic(*[GREY] * len(links), links=links))


@pytest.mark.parametrize(("pages", "fits"), [(64, True), (65, False)])
def test_at_most_64_directories(pages: int, fits: bool) -> None:
    data = classic(*[GREY] * pages)
    if fits:
        assert len(structure_of(data).pages) == 64
    else:
        with pytest.raises(NotAScan, match="more than 64 pages"):
            structure_of(data)


@pytest.mark.parametrize(
    ("data", "error"),
    [
        (b"", NotWhole),
        (b"II*", NotWhole),
        (bytes(5000), NotWhole),
        (b"II*\0" + bytes(4), NotWhole),
        (b"II*\0" + bytes([8, 0, 0, 0]) + bytes(50), NotWhole),
        (b"II+\0" + bytes([4, 0, 0, 0]) + bytes(50), NotAScan),
        (b"P6 10 10 255\n" + bytes(300), NotAScan),
        (b"\x89PNG\r\n\x1a\n" + bytes(50), NotAScan),
    ],
)
def test_beginnings(data: bytes, error: type[ScanError]) -> None:
    with pytest.raises(error):
        facts_of(data)


def test_previews_are_passed_over() -> None:
    preview = GREY | {254: (LONG, 1), 256: (LONG, 2), 257: (LONG, 1), 279: (LONG, 2)}
    facts = facts_of(classic(preview, GREY))
    assert (facts.width_px, facts.page_number, facts.full_pages) == (4, 1, 1)
    with pytest.raises(NotAScan, match="only previews"):
        facts_of(classic(preview))


@pytest.mark.parametrize(
    ("unit", "ppi", "mm"), [(2, 600.0, 25.4), (3, 1524.0, 10.0), (1, None, None), (None, 600.0, 25.4)]
)
def test_units_of_resolution_and_position(unit: int | None, ppi: float | None, mm: float | None) -> None:
    """STANDARDS 5.1: per centimetre is 2.54 times per inch; without the tag the unit is the inch (TIFF 6.0, p. 38)."""
    data = written(resolution=(600, 600), resolutionunit=unit or 2, extratags=[(286, RATIONAL, 1, (1, 1), True)])
    if unit is None:
        entry = struct.pack("<HHI", 296, SHORT, 1)
        data = data.replace(entry, struct.pack("<HHI", 65000, SHORT, 1))
    facts = facts_of(data)
    assert facts.ppi_x == (pytest.approx(ppi, rel=5e-4) if ppi else None)
    assert facts.x_position_mm == (pytest.approx(mm) if mm else None)


@pytest.mark.parametrize("stated", [float("nan"), float("inf"), -300.0, 0.0, 1e-45, 0.02, 1e9])
def test_a_resolution_that_nothing_can_have_is_none(stated: float) -> None:
    """Places in mm are told of every scan: they must stay numbers."""
    (bits,) = struct.unpack("<I", struct.pack("<f", stated))
    facts = facts_of(classic(GREY | {282: (FLOAT, bits), 283: (FLOAT, bits)}))
    assert (facts.ppi_x, facts.ppi_y) == (None, None)


@pytest.mark.parametrize("stated", [1.0, 72.0, 600.0])
def test_a_low_resolution_is_taken_as_stated(stated: float) -> None:
    (bits,) = struct.unpack("<I", struct.pack("<f", stated))
    facts = facts_of(classic(GREY | {282: (FLOAT, bits), 283: (FLOAT, bits)}))
    assert (facts.ppi_x, facts.ppi_y) == (stated, stated)


def test_texts_profile_and_orientation_are_read(test_data: Path) -> None:
    icc = (test_data / "icc" / "sRGB-v4.icc").read_bytes()
    facts = facts_of(
        written(
            iccprofile=icc, software="bed program", datetime="2026:11:24 20:00:00", description="SL-0412",
            extratags=[(274, SHORT, 1, 6, True)],
        )
    )  # fmt: skip
    assert (facts.icc, facts.software, facts.orientation) == (icc, "bed program", 6)
    assert (facts.date_time, facts.description) == ("2026:11:24 20:00:00", "SL-0412")


KINDS = [
    {},
    {"bigtiff": True},
    {"byteorder": ">", "rowsperstrip": 3},
    {"compression": "zlib", "predictor": 2, "tile": (16, 16)},
    {"compression": "lzw", "rowsperstrip": 7},
    {"planarconfig": "separate", "shape": (3, 50, 40)},
]


@pytest.mark.parametrize("kind", range(len(KINDS)))
def test_every_cut_is_noticed(kind: int) -> None:
    """No prefix of a file passes unless it only lost bytes that belong to nothing."""
    data = written(**KINDS[kind])  # type: ignore[arg-type]
    facts = facts_of(data)
    needed = max(offset + count for offset, count in zip(facts.chunks.offsets, facts.chunks.counts, strict=True))
    for length in range(0, len(data), 97):
        with opened(data[:length]) as (fd, size):
            if length >= needed:
                continue
            with pytest.raises(ScanError):
                read_facts(fd, size)


def test_pages_and_inner_pictures_are_all_checked() -> None:
    file = io.BytesIO()
    with tifffile.TiffWriter(file) as writer:
        noise = np.random.default_rng(2).integers(1, 255, (64, 64, 3), "u1")
        writer.write(noise, photometric="rgb", subifds=2)
        writer.write(noise[::2, ::2], photometric="rgb", subfiletype=1)
        writer.write(noise[::4, ::4], photometric="rgb", subfiletype=1)
        writer.write(noise, photometric="rgb")
    whole = structure_of(file.getvalue())
    assert (len(whole.pages), len(whole.inner), len(whole.chunks)) == (2, 2, 4)
    with pytest.raises(NotWhole, match=r"page 2|inner picture"):
        structure_of(file.getvalue()[:-900])


@pytest.mark.parametrize(("big", "order"), list(product([False, True], "<>")))
def test_facts_agree_with_an_independent_reader(big: bool, order: str) -> None:
    """tifffile as the second opinion on every number of the header."""
    data = written(bigtiff=big, byteorder=order, rowsperstrip=8, resolution=(301.5, 299.25))
    facts = facts_of(data)
    with tifffile.TiffFile(io.BytesIO(data)) as other:
        page = other.pages.first
        assert (facts.width_px, facts.height_px) == (page.imagewidth, page.imagelength)
        assert tuple(facts.chunks.offsets) == page.dataoffsets
        assert tuple(facts.chunks.counts) == page.databytecounts
        assert (facts.big_tiff, facts.big_endian) == (other.is_bigtiff, other.byteorder == ">")
        assert (facts.ppi_x, facts.ppi_y) == pytest.approx(page.get_resolution(unit=2), rel=1e-6)
