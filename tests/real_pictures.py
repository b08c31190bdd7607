"""An inbox of scans made from real pictures and real textures, some of them with one known fault.

Each is a cut of a photograph or a painting, shaded by a photographed surface as raking light shades relief, laid on a
simulated bed of 120 x 90 mm at 400 ppi with its stitch at 60 mm (see `scans.py`). Pictures: tests/data/SOURCES.md.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from scans import Lid, Scan, Stitch, cameras, make_scan, write_tiff
from surfaces import Surface, from_picture, load, relief

DATA = Path(__file__).resolve().parent / "data"
PPI = 400.0
BED_PX = (1417, 1890)  # rows, columns: 90 x 120 mm
WORK_PX = (1000, 1400)
SEAM_PX = 945.0
HALF_OVERLAP_PX = 400
DOUBLING_PX = 9.0

RULE_BOOK = """\
based_on = "fine-art"

[intake]
settle_s = 2.0
scan_s = 1.0

[beds.bed-a]
width_mm = 120.0
length_mm = 90.0
seam_mm = 60.0
parallax = 0.5
lid = "white"
"""


@dataclass(frozen=True)
class Made:
    """One scan that was written: its job, the fault it carries ("check.name", "" for none), its share in the whole."""

    file_name: str
    job: str
    wrong: str = ""


def real_studio(studio: Path, more_pictures: tuple[Path, ...] = ()) -> list[Made]:
    """Make a studio folder with a rule book and an inbox full of finished scans; what is wrong with each.

    `more_pictures` (from outside the repository) each become one more sound whole work.
    """
    inbox = studio / "inbox"
    inbox.mkdir(parents=True)
    (studio / "dawnproof.toml").write_text(RULE_BOOK, encoding="utf-8")
    icc = (DATA / "icc" / "sRGB-v4.icc").read_bytes()
    made = []
    for entry, scan in _scans(more_pictures):
        write_tiff(inbox / entry.file_name, scan, icc=None if entry.wrong == "encoding.profile" else icc)
        made.append(entry)
    return made


def _scans(more_pictures: tuple[Path, ...]) -> Iterator[tuple[Made, Scan]]:
    yield _whole(501), _on_bed(_work(501, "gravel", 0.04), 501)
    yield _whole(502), _on_bed(_work(502, "grass", 0.06), 502, skew_deg=0.2)
    yield from _halves(503)
    doubled = _on_bed(_work(504, "gravel", 0.05), 504, doubling_px=DOUBLING_PX)
    yield _whole(504, "seam.doubling"), doubled
    bright = _on_bed(_work(505, "grass", 0.04) * np.float32(2.6), 505)
    yield _whole(505, "clipping.region"), _overexposed(bright)
    yield _whole(506, "encoding.depth_true"), _in_bytes(_on_bed(_work(506, "brick", 0.05), 506))
    yield _whole(507, "encoding.profile"), _on_bed(_work(507, "gravel", 0.04), 507)
    yield _whole(508, "resolution.ppi_x"), _at_200_ppi(_work(508, "grass", 0.05), 508)
    for count, picture in enumerate(more_pictures):
        number = 520 + count
        yield _whole(number), _on_bed(_work(number, "gravel", 0.04, picture), number)


def _whole(number: int, wrong: str = "") -> Made:
    return Made(f"SL-{number:04d}_whole.tif", f"SL-{number:04d}", wrong)


def _work(number: int, texture: str, strength: float, picture: Path | None = None, columns: int = 0) -> Surface:
    """A work without pure black or white: pigment reflects 4 to 88 %."""
    size = (WORK_PX[0], columns or WORK_PX[1])
    surface = from_picture(_picture(picture or DATA / "pictures" / "seeding_cut.jpg"), *size, seed=number, halve=False)
    toned = 0.2 + 0.68 * surface
    return relief(toned.astype(np.float32), _picture(DATA / "textures" / f"{texture}.png"), strength, seed=number)


def _picture(path: Path) -> npt.NDArray[Any]:
    return load(str(path))


def _stitch(seed: int, doubling_px: float = 0.0) -> Stitch:
    left, right = cameras(seed, gain=0.004)
    return Stitch(SEAM_PX, doubling_px, left=left, right=right)


def _on_bed(work: Surface, seed: int, doubling_px: float = 0.0, skew_deg: float = 0.1) -> Scan:
    """A whole work in the middle of the bed."""
    over, down = BED_PX[1] - work.shape[1], BED_PX[0] - work.shape[0]
    lid = Lid("white", (over // 2, down // 2, over - over // 2, down - down // 2), skew_deg)
    return make_scan(work, lid, _stitch(seed, doubling_px), ppi=PPI, seed=seed)


def _halves(number: int) -> Iterator[tuple[Made, Scan]]:
    """Left and right half of a wide work: the inner side of each runs out of the frame."""
    margin = 200
    shown = BED_PX[1] - margin
    work = _work(number, "gravel", 0.06, columns=2 * shown - HALF_OVERLAP_PX)
    beyond = shown - work.shape[1]
    down = BED_PX[0] - work.shape[0]
    for count, (part, left, right) in enumerate((("L", margin, beyond), ("R", beyond, margin))):
        lid = Lid("white", (left, down // 2, right, down - down // 2), 0.08 * (-1) ** count)
        scan = make_scan(work, lid, _stitch(number), ppi=PPI, seed=number * 10 + count)
        yield Made(f"SL-{number:04d}_{part}.tif", f"SL-{number:04d}"), scan


def _overexposed(scan: Scan) -> Scan:
    """A little more light than the sensor holds: noise and differences of the cameras end at the same value."""
    pixels = np.minimum(np.rint(scan.pixels * 1.02), 65535).astype(np.uint16)
    return Scan(pixels, scan.frame, scan.box, scan.corners, scan.stitches)


def _in_bytes(scan: Scan) -> Scan:
    """The same scan as a program leaves it that works in 8 bit and saves 16."""
    pixels = np.rint(scan.pixels / 257.0).astype(np.uint16) * np.uint16(257)
    return Scan(pixels, scan.frame, scan.box, scan.corners, scan.stitches)


def _at_200_ppi(work: Surface, seed: int) -> Scan:
    """Scanned with the wrong setting: half the resolution, over the whole bed."""
    rows, columns = work.shape[0] // 2, work.shape[1] // 2
    small = np.asarray(cv2.resize(work, (columns, rows), interpolation=cv2.INTER_AREA), np.float32)
    over, down = BED_PX[1] // 2 - columns, BED_PX[0] // 2 - rows
    left, right = cameras(seed, gain=0.004)
    lid = Lid("white", (over // 2, down // 2, over - over // 2, down - down // 2), 0.1)
    return make_scan(small, lid, Stitch(SEAM_PX / 2, left=left, right=right), ppi=200.0, seed=seed)
