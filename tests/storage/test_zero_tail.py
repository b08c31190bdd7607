"""Zeros written where a picture should end: cuts are found, scans that are really black at the end are not accused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import tifffile

from dawnproof.errors import NotWhole
from dawnproof.storage.tiff import open_scan

Array = npt.NDArray[Any]
ROWS, COLUMNS = 400, 300


def paper(bits: int = 16, seed: int = 1) -> Array:
    full = (1 << bits) - 1
    noise = np.random.default_rng(seed).normal(0.8, 0.005, (ROWS, COLUMNS, 3))
    return np.round(noise * full).astype(f"u{bits // 8}")


def last_rows(path: Path, pixels: Array, **layout: Any) -> str:
    tifffile.imwrite(path, pixels, photometric="rgb", **layout)
    try:
        with open_scan(path) as scan:
            for _ in scan.bands(37):
                pass
    except NotWhole as error:
        return str(error)
    return ""


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("missing", [1.3, 5.0, 60.5, 200.0])
@pytest.mark.parametrize("layout", [{"rowsperstrip": 16}, {"rowsperstrip": ROWS}, {"byteorder": ">"}])
def test_a_cut_filled_with_zeros_is_found(tmp_path: Path, bits: int, missing: float, layout: dict[str, Any]) -> None:
    pixels = paper(bits)
    pixels.reshape(-1)[int(pixels.size * (1 - missing / ROWS)) :] = 0
    assert f"the last {int(missing)} of {ROWS} rows" in last_rows(tmp_path / "a.tif", pixels, **layout)


def test_a_dark_picture_cut_in_the_middle_of_a_row_is_found(tmp_path: Path) -> None:
    """Forty percent of its samples are really zero: only the row that breaks off tells."""
    dark = np.maximum(np.random.default_rng(4).normal(0.3, 1.0, (ROWS, COLUMNS, 3)) * 4, 0).astype("u1")
    assert 0.3 < (dark == 0).mean() < 0.7
    assert last_rows(tmp_path / "sound.tif", dark) == ""
    dark.reshape(-1)[int(dark.size * 0.7) + COLUMNS :] = 0
    assert f"of {ROWS} rows" in last_rows(tmp_path / "cut.tif", dark)


def test_in_planes_and_in_tiles(tmp_path: Path) -> None:
    planes = paper().transpose(2, 0, 1).copy()
    planes[2, -20:] = 0
    assert "the last 20 of" in last_rows(tmp_path / "planes.tif", planes, planarconfig="separate")
    tiles = paper()
    tiles[-40:, 256:] = 0  # the last tile, of 144 x 44 px in the picture, was only begun
    assert "the last 40 of" in last_rows(tmp_path / "tiles.tif", tiles, tile=(256, 256))


def beds() -> dict[str, Array]:
    """Scans that really end in exact black, 8 bits a sample, as from a bed with the lid open in a dark room."""
    work = paper(8)
    open_lid = np.zeros_like(work)
    open_lid[30:350, 40:260] = work[30:350, 40:260]
    faded = work.astype(float) * np.clip((360 - np.arange(ROWS)) / 12, 0, 1)[:, None, None]
    dark = np.maximum(np.random.default_rng(3).normal(1.0, 1.0, work.shape) * (np.arange(ROWS) < 380)[:, None, None], 0)
    return {
        "open lid": open_lid,
        "full width, soft edge": np.round(faded).astype("u1"),
        "dark with clipped noise": dark.astype("u1"),
        "all black": np.zeros_like(work),
        "alive to the end": work,
    }


@pytest.mark.parametrize("name", list(beds()))
def test_a_scan_that_is_really_black_at_the_end_is_sound(tmp_path: Path, name: str) -> None:
    assert last_rows(tmp_path / "a.tif", beds()[name], rowsperstrip=16) == ""


def test_a_compressed_black_end_is_proven_by_its_decoder(tmp_path: Path) -> None:
    pixels = paper()
    pixels[-50:] = 0
    assert last_rows(tmp_path / "a.tif", pixels, compression="zlib") == ""
