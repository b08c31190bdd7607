"""Calibration: a simulated shim scan gives back its own geometry, and the rule book keeps what a person wrote."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile

from dawnproof.calibrate import calibrate_bed, changed_book
from dawnproof.errors import ScanError, UsageError
from dawnproof.model import Bed
from dawnproof.storage.studio import open_studio

PPI, PARALLAX, SHIM_MM, SEAM_MM = 400.0, 0.5, 1.0, 40.0
BOOK = """based_on = "fine-art"
[beds.bed-a]  # by the window
width_mm = 80.0
length_mm = 60.0
seam_mm = 41.0   # measured by hand
seam_tolerance_mm = 3.0
[crop]
border_mm = 3.0
"""


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    (tmp_path / "dawnproof.toml").write_text(BOOK)
    (tmp_path / ".dawnproof").mkdir()
    return tmp_path


def shim_scan(path: Path, doubling_px: float) -> None:
    """Below-glass cameras: content of [c - D, c) is seen again in [c, c + D) (PRODUCT: D = h (tan t1 + tan t2))."""
    rng = np.random.default_rng(5)
    width, rows, column = round(80 * PPI / 25.4), 600, round(SEAM_MM * PPI / 25.4)
    fine = rng.normal(0, 1, (rows, 4 * (width + 64)))
    kernel = np.hanning(9) / np.hanning(9).sum()
    sheet = np.apply_along_axis(lambda line: np.convolve(line, kernel, mode="same"), 1, fine)
    at = np.arange(width, dtype=np.float64)
    at[column:] -= doubling_px
    places = np.rint(4 * (at + 32)).astype(int)
    grey = 0.5 + 0.1 * sheet[:, places] + rng.normal(0, 0.002, (rows, width))
    image = np.repeat((np.clip(grey, 0, 1) * 65535).astype(np.uint16)[:, :, None], 3, axis=2)
    tifffile.imwrite(path, image, photometric="rgb", resolution=(PPI, PPI), resolutionunit=2)


def test_a_shim_scan_gives_back_its_geometry(studio: Path, tmp_path: Path) -> None:
    doubling = SHIM_MM * PARALLAX * PPI / 25.4
    shim_scan(tmp_path / "shim.tif", round(4 * doubling) / 4)
    said = calibrate_bed(open_studio(studio), tmp_path / "shim.tif", "bed-a", SHIM_MM)
    bed = open_studio(studio).book.bed("bed-a")
    assert bed.parallax == pytest.approx(PARALLAX, rel=0.05)
    assert bed.seams_mm[0] == pytest.approx(SEAM_MM, abs=0.15)
    text = (studio / "dawnproof.toml").read_text()
    assert "# measured by hand" in text
    assert "# by the window" in text
    assert any("bed sheet" in line for line in said)
    assert len(list((studio / ".dawnproof" / "rule-books").iterdir())) == 1


def test_a_flat_sheet_calibrates_nothing(studio: Path, tmp_path: Path) -> None:
    shim_scan(tmp_path / "flat.tif", 0.0)
    with pytest.raises(ScanError, match="does not calibrate"):
        calibrate_bed(open_studio(studio), tmp_path / "flat.tif", "bed-a", SHIM_MM)
    assert (studio / "dawnproof.toml").read_text() == BOOK


def test_what_cannot_be_is_said(studio: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such file"):
        calibrate_bed(open_studio(studio), tmp_path / "none.tif", "bed-a", 1.0)
    shim_scan(tmp_path / "shim.tif", 4.0)
    with pytest.raises(UsageError, match="no bed named"):
        calibrate_bed(open_studio(studio), tmp_path / "shim.tif", "bed-x", 1.0)
    with pytest.raises(UsageError, match="shim of 0 mm"):
        calibrate_bed(open_studio(studio), tmp_path / "shim.tif", "bed-a", 0.0)


def test_a_bed_of_a_shipped_book_gets_a_table_of_its_own() -> None:
    new = changed_book('based_on = "fine-art"\n', Bed("bed-a", 600.0, 450.0, (300.0,)), {"parallax": 0.4})
    assert "[beds.bed-a]" in new
    assert "parallax = 0.4" in new
    assert "width_mm = 600.0" in new
