"""Every scan that can be read is measured, however small or empty: each reading has a value or says why not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import tifffile
from scans import Lid, make_scan
from surfaces import strokes

from dawnproof.model import Bed
from dawnproof.workers.asks import Ask
from dawnproof.workers.measuring import measure_scan

BED = Bed("bed-a", 600.0, 450.0, (300.0,), 5.0, 0.5)
SMALL_BED = Bed("bed-a", 20.0, 20.0, (10.0,), 1.0, 0.5)


def filled(rows: int, columns: int, kind: str) -> npt.NDArray[np.uint16]:
    rng = np.random.default_rng(1)
    if kind == "noise":
        return rng.integers(0, 65536, (rows, columns, 3)).astype(np.uint16)
    if kind == "columns":
        return np.tile(rng.integers(0, 65536, (1, columns, 3)), (rows, 1, 1)).astype(np.uint16)
    return np.full((rows, columns, 3), {"black": 1, "white": 65535, "flat": 30000}[kind], np.uint16)


@pytest.mark.parametrize("bed", [BED, SMALL_BED], ids=["wide bed", "small bed"])
@pytest.mark.parametrize("kind", ["noise", "columns", "black", "white", "flat"])
@pytest.mark.parametrize(("rows", "columns"), [(1, 1), (3, 700), (700, 3), (40, 40), (128, 128), (200, 600)])
def test_every_reading_has_a_value_or_a_reason(tmp_path: Path, rows: int, columns: int, kind: str, bed: Bed) -> None:
    path = tmp_path / "scan.tif"
    tifffile.imwrite(path, filled(rows, columns, kind), photometric="rgb", resolution=(400, 400), resolutionunit=2)
    measured = measure_scan(Ask(str(path), bed))
    assert measured.readings
    for reading in measured.readings:
        assert reading.value is not None or reading.why, reading
        if isinstance(reading.value, float):
            assert np.isfinite(reading.value), reading


@pytest.mark.parametrize("unit", [2, 3], ids=["inch", "cm"])
def test_a_resolution_of_no_scanner_is_computed_with_as_little_as_one_that_is_missing(
    tmp_path: Path, unit: int
) -> None:
    """All would be a hundredth of its size: no clipped region a fault, no work large enough to see."""
    work = work_with_a_clipped_region()
    stated = 30_000.0 if unit == 2 else 30_000 / 2.54
    tifffile.imwrite(tmp_path / "none.tif", work, photometric="rgb")
    tifffile.imwrite(tmp_path / "wild.tif", work, photometric="rgb", resolution=(stated, stated), resolutionunit=unit)
    none, wild = (measure_scan(Ask(str(tmp_path / name), BED)) for name in ("none.tif", "wild.tif"))
    assert (wild.ppi_x, wild.ppi_y, wild.crop) == (None, None, none.crop)
    assert wild.crop is not None
    assert {r for r in wild.readings if r.check != "resolution"} == {
        r for r in none.readings if r.check != "resolution"
    }
    region = next(r for r in wild.readings if (r.check, r.name) == ("clipping", "region"))
    assert region.value == pytest.approx(300 * 200 * (25.4 / 300) ** 2, rel=0.02)


def work_with_a_clipped_region() -> npt.NDArray[np.uint16]:
    """On a white lid, a fifth of it burnt out."""
    scan = make_scan(strokes(700, 900, 4), Lid(margins_px=(80, 80, 80, 80)))
    scan.pixels[300:500, 400:700] = 65535
    return scan.pixels
