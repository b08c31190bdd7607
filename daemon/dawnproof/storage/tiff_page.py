"""What a TIFF says of its scan: the facts of the first full-size page, and why it cannot be measured, if so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ..errors import NotAScan, NotWhole
from ..model import MM_PER_INCH, MOST_PLAUSIBLE_PPI
from .tiff_structure import (
    LENGTH,
    MEND,
    NEW_SUBFILE_TYPE,
    PLANAR,
    SAMPLES,
    SUBFILE_TYPE,
    WIDTH,
    Chunks,
    Directory,
    Entry,
    Structure,
    TiffBytes,
    read_structure,
)

COMPRESSIONS: Final = {
    1: "none", 2: "fax", 3: "fax", 4: "fax", 5: "LZW", 6: "old JPEG", 7: "JPEG", 8: "deflate", 32773: "PackBits",
    32946: "deflate", 34712: "JPEG 2000", 34925: "LZMA", 50000: "ZSTD", 50001: "WebP", 50002: "JPEG XL",
}  # fmt: skip
LOSSLESS: Final = {1, 5, 8, 32773, 32946, 50000}
PHOTOMETRICS: Final = {
    0: "grey, white as zero", 1: "grey", 2: "RGB", 3: "a palette", 4: "a mask", 5: "CMYK inks", 6: "YCbCr",
    8: "CIELab", 9: "ICCLab", 10: "ITULab", 32803: "raw sensor data", 34892: "linear raw data",
}  # fmt: skip
SAVE_AS: Final = "save the scan as 8 or 16 bit RGB or grey"
LEAST_PPI: Final = 0.0254  # a pixel a metre: less is no resolution, and places in mm would pass what a number can hold


@dataclass(frozen=True, slots=True)
class Facts:
    """The header of a scan. `channels` counts colours, `samples` what is stored; `ppi` is per inch whatever the
    file's unit, None without one, below LEAST_PPI, or beyond any scanner, and `header_ppi` (across, along) what it
    says all the same, 0 for nothing; `icc` None without a profile; `orientation` as stored, never applied."""

    place: str
    page_number: int | None  # of the main pages, from 0; None when the picture is an inner one
    full_pages: int
    size_bytes: int
    big_tiff: bool
    big_endian: bool
    width_px: int
    height_px: int
    channels: int
    samples: int
    extra_samples: tuple[int, ...]
    depth_bits: int
    sample_format: int
    white_is_zero: bool
    compression: str
    compression_tag: int
    predictor: int
    planar: bool
    chunks: Chunks
    ppi_x: float | None
    ppi_y: float | None
    header_ppi: tuple[float, float]
    x_position_mm: float | None
    orientation: int
    icc: bytes | None
    software: str
    date_time: str
    description: str

    @property
    def pixels(self) -> int:
        return self.width_px * self.height_px

    @property
    def sample_bytes(self) -> int:
        return self.depth_bits // 8


def read_facts(fd: int, size: int) -> Facts:
    """Check the whole structure and describe the scan. Raises NotWhole, NotAScan with what, where and mend."""
    structure = read_structure(fd, size)
    data = TiffBytes(fd, size)
    full = [d for d in (*structure.pages, *structure.inner) if d.offset in structure.chunks and not _reduced(data, d)]
    if not full:
        raise NotAScan("the file holds only previews, no full-size picture; save the scan again")
    page = full[0]
    _refuse_unmeasurable(_Tags(data, page))
    facts = _facts(data, structure, page, sum(d in structure.pages for d in full))
    _uncompressed_chunks_are_full(facts)
    return facts


class _Tags:
    """The values of one directory, asked for by tag."""

    def __init__(self, data: TiffBytes, directory: Directory) -> None:
        self.data, self.directory = data, directory

    def _entry(self, tag: int) -> tuple[Entry | None, str]:
        return self.directory.entries.get(tag), f"tag {tag} of {self.directory.place}"

    def all(self, tag: int, default: tuple[int, ...]) -> tuple[int, ...]:
        entry, what = self._entry(tag)
        return tuple(self.data.integers(entry, what)) if entry else default

    def one(self, tag: int, default: int) -> int:
        return self.all(tag, (default,))[0]

    def fraction(self, tag: int) -> float | None:
        entry, what = self._entry(tag)
        values = self.data.fractions(entry, what) if entry else []
        return values[0] if values and 0 <= values[0] < 1e9 else None

    def bytes(self, tag: int) -> bytes | None:
        entry, what = self._entry(tag)
        return self.data.raw(entry, what) if entry else None

    def text(self, tag: int) -> str:
        return (self.bytes(tag) or b"").split(b"\0")[0].decode("utf-8", "replace").strip()


def _reduced(data: TiffBytes, directory: Directory) -> bool:
    tags = _Tags(data, directory)
    return bool(tags.one(NEW_SUBFILE_TYPE, 0) & 0b101) or tags.one(SUBFILE_TYPE, 1) == 2


def _refuse_unmeasurable(tags: _Tags) -> None:
    compression, photometric = tags.one(259, 1), tags.one(262, -1)
    samples = tags.one(SAMPLES, 1)
    bits, kinds = set(tags.all(258, (1,))), set(tags.all(339, (1,)))
    reason = ""
    if compression not in LOSSLESS:
        name = COMPRESSIONS.get(compression, f"method {compression}")
        reason = f"compressed with {name}; save the scan without compression, or with LZW, deflate or ZSTD"
    elif photometric not in (0, 1, 2):
        name = PHOTOMETRICS.get(photometric, f"photometric {photometric}")
        reason = f"its colours are stored as {name}; {SAVE_AS}"
    elif not kinds <= {1, 4}:
        kind = "signed numbers" if 2 in kinds else "floating point numbers"
        reason = f"its samples are {kind}; {SAVE_AS}"
    elif len(bits) != 1 or not bits <= {8, 16}:
        reason = f"it has {'/'.join(str(b) for b in sorted(bits))} bits a sample; {SAVE_AS}"
    elif not (3 if photometric == 2 else 1) <= samples <= 8:
        reason = f"it has {samples} samples a pixel; {SAVE_AS}"
    elif tags.one(PLANAR, 1) not in (1, 2):
        reason = "damaged: its planar configuration is unknown; save the scan again"
    elif tags.one(317, 1) not in (1, 2):
        reason = f"it uses predictor {tags.one(317, 1)}, which whole numbers do not have; save the scan again"
    elif tags.one(266, 1) != 1:
        reason = "its bits are stored in reversed order; save the scan again"
    if reason:
        raise NotAScan(f"a TIFF that cannot be measured: {reason}")


def _facts(data: TiffBytes, structure: Structure, page: Directory, full_pages: int) -> Facts:
    tags = _Tags(data, page)
    photometric, samples = tags.one(262, 1), tags.one(SAMPLES, 1)
    channels = 3 if photometric == 2 else 1
    inch = {2: 1.0, 3: MM_PER_INCH / 10}.get(tags.one(296, 2), 0.0)  # 0.0: a ratio only, no physical unit
    ppi_x, ppi_y = ((tags.fraction(tag) or 0.0) * inch for tag in (282, 283))
    position = tags.fraction(286)
    return Facts(
        place=page.place,
        page_number=structure.pages.index(page) if page in structure.pages else None,
        full_pages=full_pages,
        size_bytes=structure.size,
        big_tiff=structure.big_tiff,
        big_endian=structure.big_endian,
        width_px=tags.one(WIDTH, 0),
        height_px=tags.one(LENGTH, 0),
        channels=channels,
        samples=samples,
        extra_samples=tags.all(338, (0,) * (samples - channels))[: samples - channels],
        depth_bits=tags.one(258, 1),
        sample_format=tags.one(339, 1),
        white_is_zero=photometric == 0,
        compression=COMPRESSIONS[tags.one(259, 1)],
        compression_tag=tags.one(259, 1),
        predictor=tags.one(317, 1),
        planar=tags.one(PLANAR, 1) == 2 and samples > 1,
        chunks=structure.chunks[page.offset],
        ppi_x=ppi_x if LEAST_PPI <= ppi_x <= MOST_PLAUSIBLE_PPI else None,
        ppi_y=ppi_y if LEAST_PPI <= ppi_y <= MOST_PLAUSIBLE_PPI else None,
        header_ppi=(ppi_x, ppi_y),
        x_position_mm=position * MM_PER_INCH / inch if position is not None and inch else None,
        orientation=tags.one(274, 1),
        icc=tags.bytes(34675),
        software=tags.text(305),
        date_time=tags.text(306),
        description=tags.text(270),
    )


def _uncompressed_chunks_are_full(facts: Facts) -> None:
    """An uncompressed chunk has a known size: a shorter one is a hole in the picture, whatever the table says."""
    if facts.compression_tag != 1:
        return
    chunks = facts.chunks
    row_bytes = chunks.width_px * facts.sample_bytes * (1 if facts.planar else facts.samples)
    kind = "tile" if chunks.tiled else "strip"
    for index, count in enumerate(chunks.counts):
        row = index % (chunks.across * chunks.down) // chunks.across
        rows = chunks.rows if chunks.tiled else min(chunks.rows, facts.height_px - row * chunks.rows)
        needed = rows * row_bytes
        if count < needed:
            where = f"{kind} {index + 1:,} of {facts.place}"
            raise NotWhole(f"{where} holds {count:,} bytes where {needed:,} are needed; {MEND}")
