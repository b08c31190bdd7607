"""Pixels: every layout read by three readers alike, damage noticed strictly, the digest of the whole file exact."""

from __future__ import annotations

import hashlib
import io
import os
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import tifffile

from dawnproof.errors import NotAScan, NotWhole, ScanError
from dawnproof.measure.channel_shift import TILE_PX
from dawnproof.storage import tiff
from dawnproof.storage.tiff import Reader, measure_pass, open_scan

Array = npt.NDArray[Any]


def noise(bits: int, channels: int, height: int = 101, width: int = 90) -> Array:
    return np.random.default_rng(bits + channels).integers(
        1, (1 << bits) - 1, (height, width, channels), f"u{bits // 8}"
    )


def layouts() -> Iterator[dict[str, Any]]:
    packings = [(None, None), ("lzw", None), ("lzw", 2), ("zlib", 2), ("zstd", 2), ("zstd", None), ("packbits", None)]
    for bits, channels, packing, planar, tile, order in product(
        (8, 16), (1, 3, 4), packings, (False, True), (None, (32, 48)), "<>"
    ):
        if not (planar and channels == 1):
            yield {
                "bits": bits,
                "channels": channels,
                "packing": packing,
                "planar": planar,
                "tile": tile,
                "order": order,
            }


def write(path: Path, pixels: Array, layout: dict[str, Any], **more: Any) -> None:
    planar, channels = layout["planar"], layout["channels"]
    stored = pixels.transpose(2, 0, 1) if planar else pixels[:, :, 0] if channels == 1 else pixels
    tifffile.imwrite(
        path,
        stored,
        byteorder=layout["order"],
        photometric=more.pop("photometric", "minisblack" if channels == 1 else "rgb"),
        planarconfig=None if channels == 1 else "separate" if planar else "contig",
        compression=layout["packing"][0],
        predictor=layout["packing"][1],
        tile=layout["tile"],
        rowsperstrip=None if layout["tile"] else 13,
        extrasamples=["unassalpha"] if channels == 4 else None,
        **more,
    )


def read(path: Path, rows: int = 17, reader: Reader | None = None) -> Array:
    with open_scan(path, reader=reader) as scan:
        return np.concatenate(list(scan.bands(rows)))


def test_every_layout_reads_alike_in_three_readers(tmp_path: Path) -> None:
    counts, refused = dict.fromkeys(Reader, 0), []
    for number, layout in enumerate(layouts()):
        pixels = noise(layout["bits"], layout["channels"])
        path = tmp_path / f"{number}.tif"
        write(path, pixels, layout)
        for reader in (None, Reader.CHUNKS, Reader.LIBVIPS):
            try:
                with open_scan(path, reader=reader) as scan:
                    got = np.concatenate(list(scan.bands(17)))
                    part = scan.region(3, 5, 50, 61)
            except NotAScan:
                refused.append((reader, layout["packing"][0] == "zstd" or bool(layout["planar"] and layout["tile"])))
                continue
            assert got.dtype == pixels.dtype.newbyteorder("="), layout
            assert np.array_equal(got, pixels[:, :, :3]), (layout, reader)
            assert np.array_equal(part, pixels[5:66, 3:53, :3]), (layout, reader)
            counts[scan.reader] += 1
        path.unlink()
    assert counts[Reader.RAW] == 12  # uncompressed chunky strips: 2 depths, 3 kinds of channels, 2 byte orders
    assert counts[Reader.LIBVIPS] >= 150
    assert set(refused) == {(Reader.LIBVIPS, True)}, "libvips alone refuses, and only ZSTD and planes in tiles"


@pytest.mark.parametrize("reader", [None, Reader.CHUNKS, Reader.LIBVIPS])
def test_white_as_zero_is_turned_round(tmp_path: Path, reader: Reader | None) -> None:
    layout = {"bits": 16, "channels": 1, "packing": (None, None), "planar": False, "tile": None, "order": "<"}
    write(tmp_path / "a.tif", noise(16, 1), layout, photometric="miniswhite")
    assert np.array_equal(read(tmp_path / "a.tif", reader=reader), 65535 - noise(16, 1))
    with open_scan(tmp_path / "a.tif", reader=reader) as scan:
        assert np.array_equal(scan.region(7, 9, 20, 30), 65535 - noise(16, 1)[9:39, 7:27])


def test_the_same_name_with_new_content_gives_the_new_pixels(tmp_path: Path) -> None:
    """A libvips that caches by name would answer with the old scan."""
    for value in (10, 200):
        tifffile.imwrite(tmp_path / "a.tif", np.full((64, 64, 3), value, "u1"), photometric="rgb", compression="zlib")
        assert read(tmp_path / "a.tif", reader=Reader.LIBVIPS).mean() == value


@pytest.mark.parametrize("rows", [1, 7, 13, 64, 1000])
@pytest.mark.parametrize("compression", [None, "zlib"])
def test_a_pass_digests_the_whole_file(tmp_path: Path, rows: int, compression: str | None) -> None:
    """Header, gaps and trailing bytes belong to the file as much as the strips."""
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path, noise(16, 3), photometric="rgb", compression=compression, rowsperstrip=5, description="x" * 999
    )
    path.write_bytes(path.read_bytes() + os.urandom(4321))
    run = measure_pass(path, rows)
    with pytest.raises(RuntimeError):
        _ = run.sha256
    assert np.array_equal(np.concatenate(list(run)), noise(16, 3))
    assert run.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_strips_with_gaps_and_out_of_order(tmp_path: Path) -> None:
    for name, order in (("gaps", range(21)), ("backwards", reversed(range(21)))):
        path = tmp_path / f"{name}.tif"
        path.write_bytes(rearranged(noise(16, 3), list(order), gap=10))
        run = measure_pass(path, 8)
        assert np.array_equal(np.concatenate(list(run)), noise(16, 3))
        assert run.scan.reader is (Reader.RAW if name == "gaps" else Reader.CHUNKS)
        assert run.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def rearranged(pixels: Array, order: list[int], gap: int) -> bytes:
    """The same picture with its strips of five rows stored in another order and with unused bytes between them."""
    file = io.BytesIO()
    tifffile.imwrite(file, pixels, photometric="rgb", rowsperstrip=5)
    file.seek(0)
    with tifffile.TiffFile(file) as whole:
        page = whole.pages.first
        offsets, counts = page.dataoffsets, page.databytecounts
        table = page.tags["StripOffsets"].valueoffset
    data = bytearray(file.getvalue()) + b"\xee" * 16
    moved = [0] * len(offsets)
    for index in order:
        moved[index] = len(data)
        data += file.getvalue()[offsets[index] : offsets[index] + counts[index]] + b"\xee" * gap
    data[table : table + 4 * len(moved)] = np.array(moved, "<u4").tobytes()
    return bytes(data)


def test_one_strip_of_everything_is_read_in_parts(tmp_path: Path) -> None:
    """A planar scan in three strips must not be held whole in memory to read sixteen rows of it."""
    path = tmp_path / "a.tif"
    pixels = noise(16, 3, height=300)
    tifffile.imwrite(path, pixels.transpose(2, 0, 1), photometric="rgb", planarconfig="separate", rowsperstrip=300)
    with open_scan(path) as scan:
        assert np.array_equal(np.concatenate(list(scan.bands(16))), pixels)
        assert np.array_equal(scan.region(0, 130, 90, 20), pixels[130:150])


DAMAGED = [
    ("zlib", None), ("zlib", (32, 32)), ("lzw", None), ("lzw", (32, 32)), ("zstd", None), ("zstd", (32, 32)),
]  # fmt: skip


@pytest.mark.parametrize(("compression", "tile"), DAMAGED)
@pytest.mark.parametrize("damage", ["zero tail", "one chunk of zeros"])
@pytest.mark.parametrize("reader", [None, Reader.LIBVIPS])
def test_damaged_compression_never_gives_pixels_to_the_end(
    tmp_path: Path, compression: str, tile: tuple[int, int] | None, damage: str, reader: Reader | None
) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path, noise(16, 3), photometric="rgb", compression=compression, tile=tile, rowsperstrip=None if tile else 9
    )
    with tifffile.TiffFile(path) as whole:
        page = whole.pages.first
        last = max(range(len(page.dataoffsets)), key=lambda index: page.dataoffsets[index])
        middle = len(page.dataoffsets) // 2
        offset, count = page.dataoffsets[middle], page.databytecounts[middle]
        end = page.dataoffsets[last] + page.databytecounts[last]
    data = bytearray(path.read_bytes())
    start, stop = (end - count // 3, end) if damage == "zero tail" else (offset, offset + count)
    data[start:stop] = bytes(stop - start)
    path.write_bytes(data)
    with pytest.raises(ScanError):
        read(path, reader=reader)


def test_a_deflate_bit_flip_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, noise(16, 3), photometric="rgb", compression="zlib", rowsperstrip=9)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0x10
    path.write_bytes(data)
    with pytest.raises(NotWhole, match="cannot be decoded"):
        read(path)


def test_unusual_tags_do_not_condemn_a_sound_scan_read_by_libvips(tmp_path: Path) -> None:
    """libvips with 'warning' refuses such a file; tifffile decodes it once more and decides."""
    path = tmp_path / "a.tif"
    page_number = [(297, 3, 3, (1, 2, 3), True)]  # one value too many: harmless, but libtiff warns
    tifffile.imwrite(path, noise(16, 3), photometric="rgb", compression="zlib", rowsperstrip=9, extratags=page_number)
    with open_scan(path, reader=Reader.LIBVIPS) as scan:
        with pytest.raises(tiff._libvips().Error):
            list(tiff._libvips_bands(scan.fd, scan.facts, 17, "warning", 0))
        assert np.array_equal(np.concatenate(list(scan.bands(17))), noise(16, 3))


def test_a_huge_single_compressed_strip_goes_to_libvips(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, noise(16, 3), photometric="rgb", compression="zlib", rowsperstrip=101)
    monkeypatch.setattr(tiff, "CHUNK_BYTES_AT_ONCE", 1000)
    with open_scan(path) as scan:
        assert scan.reader is Reader.LIBVIPS
        assert np.array_equal(np.concatenate(list(scan.bands())), noise(16, 3))


def test_a_declared_size_over_the_budget_is_refused_before_decoding(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "a.tif", noise(8, 3), photometric="rgb")
    with pytest.raises(NotAScan, match="more than the 9,089 allowed"):
        open_scan(tmp_path / "a.tif", max_pixels=9089)
    open_scan(tmp_path / "a.tif", max_pixels=9090).close()


@pytest.mark.parametrize("width", [100, 27_000, 28_346, 39_732, 100_000, 400_000, 3_000_000, 20_000_000])
def test_a_band_is_high_enough_for_the_checks_and_never_without_bound(tmp_path: Path, width: int) -> None:
    """28 346 px: 600 mm at 1200 ppi."""
    tifffile.imwrite(tmp_path / "a.tif", noise(16, 3), photometric="rgb")
    with open_scan(tmp_path / "a.tif") as scan:
        scan.facts = replace(scan.facts, width_px=width)
        rows = scan.usual_rows
    assert rows >= (TILE_PX if width <= 100_000 else 1)
    assert rows == 1 or rows * width * 6 <= tiff.MOST_BAND_BYTES


def test_a_file_that_changes_meanwhile_is_not_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, noise(16, 3), photometric="rgb")
    run = measure_pass(path, 16)
    bands = iter(run)
    next(bands)
    with path.open("ab") as file:
        file.write(b"more")
    with pytest.raises(NotWhole, match="changed"):
        list(bands)


def test_a_file_cut_meanwhile_is_not_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, noise(16, 3, height=3000), photometric="rgb")
    bands = iter(measure_pass(path, 16))
    next(bands)
    os.truncate(path, 60_000)
    with pytest.raises(NotWhole, match="shorter"):
        list(bands)


def test_what_is_no_file_is_said_so(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "fifo.tif")
    for path, error in ((tmp_path, NotAScan), (tmp_path / "fifo.tif", NotAScan), (tmp_path / "none.tif", ScanError)):
        with pytest.raises(error):
            open_scan(path)


def open_descriptors() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def test_descriptors_are_not_leaked(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "a.tif", noise(8, 3), photometric="rgb", compression="zlib")
    (tmp_path / "bad.tif").write_bytes((tmp_path / "a.tif").read_bytes()[:-300])
    before = open_descriptors()
    for _ in range(20):
        list(measure_pass(tmp_path / "a.tif"))
        with pytest.raises(NotWhole):
            measure_pass(tmp_path / "bad.tif")
        abandoned = iter(measure_pass(tmp_path / "a.tif", 8))
        next(abandoned)
        del abandoned
    assert open_descriptors() <= before + 1


@pytest.mark.parametrize("place", [(-1, 0, 5, 5), (0, 0, 91, 5), (80, 100, 10, 2), (0, 0, 0, 5)])
def test_a_region_outside_is_refused(tmp_path: Path, place: tuple[int, int, int, int]) -> None:
    tifffile.imwrite(tmp_path / "a.tif", noise(8, 3), photometric="rgb")
    with open_scan(tmp_path / "a.tif") as scan, pytest.raises(ValueError, match="is not inside"):
        scan.region(*place)
