"""Masters: every reader sees the pixels and tags that were meant, the digest is that of the file, nothing half-made."""

from __future__ import annotations

import hashlib
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import tifffile

from dawnproof.errors import MoveError
from dawnproof.storage import tiff_write
from dawnproof.storage.tiff import MasterTags, Packing, Reader, open_scan, write_master

Array = npt.NDArray[Any]
TAGS = MasterTags(
    job="SL-0412",
    sources=("SL-0412_L.tif", "SL-0412_R <2>.tif"),
    software="dawnproof 0.1.0",
    description="SL-0412, joined of 2 parts & cropped",
    date_time="2026:11:24 22:10:00",
)


def picture(bits: int = 16, channels: int = 3) -> Array:
    return np.random.default_rng(7).integers(0, 1 << bits, (303, 401, channels)).astype(f"u{bits // 8}")


def bands(pixels: Array, rows: int) -> Iterator[Array]:
    """Through one buffer that is used again, as a blender does it."""
    buffer = np.empty((rows, *pixels.shape[1:]), pixels.dtype)
    for first in range(0, len(pixels), rows):
        count = min(rows, len(pixels) - first)
        buffer[:count] = pixels[first : first + count]
        yield buffer[:count]


def write(path: Path, pixels: Array, rows: int = 37, **options: Any) -> tiff_write.Written:
    return write_master(
        path,
        bands(pixels, rows),
        pixels.shape[1],
        pixels.shape[0],
        pixels.shape[2],
        pixels.dtype.itemsize * 8,
        options.pop("icc", None),
        options.pop("ppi", (600.0, 599.5)),
        options.pop("tags", TAGS),
        **options,
    )


@pytest.mark.parametrize("big", [False, True])
@pytest.mark.parametrize("tile_px", [None, 128])
@pytest.mark.parametrize("packing", list(Packing))
@pytest.mark.parametrize(("bits", "channels"), [(8, 1), (8, 3), (16, 1), (16, 3)])
def test_three_readers_see_the_same_pixels(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bits: int, channels: int, packing: Packing, tile_px: int, big: bool
) -> None:
    monkeypatch.setattr(tiff_write, "CLASSIC_MOST_BYTES", 1000 if big else 10**9)
    monkeypatch.setattr(tiff_write, "STRIP_BYTES", 9000)
    pixels, path = picture(bits, channels), tmp_path / "SL-0412.tif"
    written = write(path, pixels, packing=packing, tile_px=tile_px)
    assert written.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert written.bytes == path.stat().st_size
    assert np.array_equal(tifffile.imread(path).reshape(pixels.shape), pixels)
    for reader in (None, Reader.LIBVIPS):
        with open_scan(path, reader=reader) as scan:
            assert np.array_equal(np.concatenate(list(scan.bands(50))), pixels)
            assert scan.facts.big_tiff == big
    assert list(tmp_path.iterdir()) == [path]


def test_tags_profile_and_packet_are_read_back_by_others(tmp_path: Path, test_data: Path) -> None:
    pyvips = pytest.importorskip("pyvips")
    icc = (test_data / "icc" / "ProPhoto-v4.icc").read_bytes()
    path = tmp_path / "SL-0412.tif"
    write(path, picture(), icc=icc)
    with tifffile.TiffFile(path) as other:
        tags = {tag.code: tag.value for tag in other.pages.first.tags}
    assert (tags[269], tags[270], tags[305], tags[306]) == (TAGS.job, TAGS.description, TAGS.software, TAGS.date_time)
    assert (tags[282], tags[283], tags[296], tags[34675]) == ((600, 1), (1199, 2), 2, icc)
    image = pyvips.Image.tiffload(str(path))
    assert image.get("icc-profile-data") == icc
    assert image.xres == pytest.approx(600 / 25.4)
    assert bytes(image.get("xmp-data")) == tags[700]
    packet = tags[700].decode()
    assert packet.startswith('<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>')
    root = ElementTree.fromstring(packet[packet.index("<x:") : packet.rindex("<?")])
    names = {"dc": "http://purl.org/dc/elements/1.1/", "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#"}
    assert root.findtext(".//dc:identifier", namespaces=names) == "SL-0412"
    assert [li.text for li in root.findall(".//dc:source//rdf:li", names)] == list(TAGS.sources)


def test_names_that_steer_terminals_or_markup_are_harmless_in_tags(tmp_path: Path) -> None:
    tags = MasterTags("SL-0412", ("a\x1b[2J\udcff<b>.tif",), "dawnproof", description="é\x07")
    path = tmp_path / "a.tif"
    write(path, picture(), tags=tags)
    data = path.read_bytes()
    assert rb"a\x1b[2J\xff&lt;b&gt;.tif" in data
    assert "é\\x07\0".encode() in data


def test_progress_is_told_in_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tiff_write, "STRIP_BYTES", 100_000)
    told: list[int] = []
    write(tmp_path / "a.tif", picture(), progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 303


def test_an_existing_file_is_kept_unless_told_otherwise(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    path.write_bytes(b"older")
    with pytest.raises(MoveError, match="another file stands at"):
        write(path, picture())
    assert path.read_bytes() == b"older"
    write(path, picture(), replace=True)
    assert len(path.read_bytes()) > 700_000
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("wrong", ["few", "many", "width", "depth"])
def test_bands_that_do_not_add_up_leave_nothing(tmp_path: Path, wrong: str) -> None:
    pixels = picture()
    given = {"few": pixels[:-1], "many": np.concatenate([pixels, pixels[:1]]), "width": pixels[:, 1:], "depth": pixels}
    kind = given[wrong].astype("u1") if wrong == "depth" else given[wrong]
    with pytest.raises(ValueError, match="band"):
        write_master(tmp_path / "a.tif", bands(kind, 40), 401, 303, 3, 16, None, None, TAGS)
    assert list(tmp_path.iterdir()) == []


def test_a_failing_source_of_bands_leaves_nothing(tmp_path: Path) -> None:
    def broken() -> Iterator[Array]:
        yield picture()[:100]
        raise MoveError("the part vanished")

    with pytest.raises(MoveError, match="vanished"):
        write_master(tmp_path / "a.tif", broken(), 401, 303, 3, 16, None, None, TAGS)
    assert list(tmp_path.iterdir()) == []


def test_beyond_the_classic_limit_the_plan_is_bigtiff() -> None:
    """Classic TIFF ends at 2^32 bytes; 26 000 px square of RGB48 is 4.06 GB, 25 000 px square is 3.75 GB."""
    for side, big in ((26_000, True), (25_000, False)):
        assert tiff_write._plan(side, side, 3, 16, Packing.NONE, None).big == big
