"""Odd and hostile TIFFs: each is read or ends with a reason a person understands, under limits, in a child."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile

from dawnproof.errors import NotAScan
from dawnproof.storage.tiff import open_scan

HERE = Path(__file__).parent
DAEMON = HERE.parent.parent / "daemon"
READABLE = {  # what a scan may be; all others must be refused
    "bigtiff_8x8.btf", "gdal_bigtiff_one_strip_be_long8.tif", "libtiff_tiff_with_subifd_chain.tif",
    "libvips_sample_16bit_300dpi_cm.tif", "pillow_16bit.MM.cropped.tif", "pillow_hopper.iccprofile.tif",
    "pillow_hopper_bigtiff.tif", "pillow_hopper_float_dpi_2.tif", "pillow_hopper_float_dpi_3.tif",
    "pillow_hopper_float_dpi_None.tif", "pillow_tiff_16bit_RGB.tiff", "pillow_tiff_16bit_RGBa.tiff",
    "pillow_tiff_strip_planar_16bit_RGB.tiff", "pillow_tiff_tiled_planar_16bit_RGB.tiff",
    "pillow_tiff_wrong_bits_per_sample_3.tiff",
}  # fmt: skip


def outcomes(names: list[str]) -> list[dict[str, Any]]:
    done = subprocess.run(
        [sys.executable, str(HERE / "reading_child.py"), *names],
        env=os.environ | {"PYTHONPATH": str(DAEMON)}, capture_output=True, text=True, timeout=600, check=True,
    )  # fmt: skip
    return [json.loads(line) for line in done.stdout.splitlines()]


def each_ends_well(folder: Path) -> int:
    names = sorted(str(path) for path in folder.iterdir())
    results = outcomes(names)
    assert [result["file"] for result in results] == names
    for result in results:
        path = Path(result["file"])
        assert "died" not in result, result
        assert result["seconds"] < 20, result
        assert result["peak_mb"] < 700, result
        if path.name in READABLE:
            assert result["rows"] == result["height"], result
            assert result["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
        else:
            assert result["error"] in ("NotWhole", "NotAScan"), result
            assert "; " in result["reason"], "what to do about it"
            assert "Traceback" not in result["reason"]
    return len(results)


def test_odd_files_kept_with_the_tests(test_data: Path) -> None:
    assert each_ends_well(test_data / "tiff_odd") == 22


def test_all_odd_files(shared_testdata: Path) -> None:
    assert each_ends_well(shared_testdata / "tiff_odd") == 40


def test_readable_odd_files_give_the_pixels_tifffile_sees(test_data: Path) -> None:
    read = 0
    for path in sorted((test_data / "tiff_odd").iterdir()):
        if path.name not in READABLE:
            continue
        with open_scan(path) as scan:
            got = np.concatenate(list(scan.bands(7)))
            planar = scan.facts.planar
        wanted = tifffile.imread(path, key=0)
        wanted = wanted.transpose(1, 2, 0) if planar else wanted.reshape(*wanted.shape[:2], -1)
        assert np.array_equal(got, wanted[:, :, : got.shape[2]]), path.name
        read += 1
    assert read == 5


def test_a_bomb_is_refused_by_its_declared_size(tmp_path: Path) -> None:
    """A deflate TIFF of 60,416 px square, 21.9 GB decoded: never decoded where the bed cannot be that large."""
    path = tmp_path / "bomb.tif"
    with tifffile.TiffWriter(path, bigtiff=True) as writer:
        tile = b"".join([np.zeros((1024, 1024, 3), "u2").tobytes()])
        import zlib

        packed = zlib.compress(tile)
        writer.write(
            (packed for _ in range(59 * 59)), shape=(60416, 60416, 3), dtype="u2", photometric="rgb",
            compression="zlib", tile=(1024, 1024),
        )  # fmt: skip
    assert path.stat().st_size < 50_000_000
    with pytest.raises(NotAScan, match="60,416 x 60,416 px"):
        open_scan(path, max_pixels=400_000_000)


@pytest.mark.parametrize("first_seed", [1, 2])
def test_mutated_files_never_kill_nor_hang(test_data: Path, first_seed: int, sweep: bool) -> None:
    """Seeds first_seed, first_seed + 2 …; 150 files each by default, 2000 each with --sweep."""
    bases = sorted(path for path in (test_data / "tiff_odd").iterdir() if path.stat().st_size > 100)
    count = 2000 if sweep else 150
    names = [f"{bases[seed % len(bases)]}@{seed}" for seed in range(first_seed, first_seed + 2 * count, 2)]
    results = outcomes(names)
    assert len(results) == count
    for result in results:
        assert "died" not in result, result
        assert result["seconds"] < 20, result
        assert "rows" in result or result["error"] in ("NotWhole", "NotAScan", "ScanError"), result
