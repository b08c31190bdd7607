"""proof.jpg and details.jpg as they lie on the disk, from real files."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pytest
import tifffile

from dawnproof.assemble.parts import Cut, JoinPlan
from dawnproof.assemble.proof import to_srgb
from dawnproof.model import Bed, Box, Finding, Level, Measured, Where
from dawnproof.rehearsal.profile import scanner_profile
from dawnproof.storage.tiff import open_scan
from dawnproof.workers.asks import Ask
from dawnproof.workers.closeups import Proofs
from dawnproof.workers.measuring import measure_scan

BED = Bed("bed-a", 600.0, 450.0)
PPI = 400


@pytest.fixture(scope="module")
def scanned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("scan") / "SL-0412_whole.tif"
    y, x = np.mgrid[0:1400, 0:1800].astype(float)
    grain = np.random.default_rng(3).normal(0, 0.01, (1400, 1800))
    tone = 0.5 + 0.3 * np.sin(x / 130) * np.cos(y / 170) + grain
    pixels = np.rint(np.clip(tone, 0, 1)[..., None] * np.array((60000, 50000, 40000))).astype(np.uint16)
    tifffile.imwrite(
        path, pixels, photometric="rgb", resolution=(PPI, PPI), resolutionunit=2, iccprofile=scanner_profile()
    )
    return path


def written(path: Path, folder: Path, findings: tuple[Finding, ...] = (), long_side: int = 800) -> dict[str, bytes]:
    folder.mkdir(exist_ok=True)
    proofs = Proofs(folder, long_side)
    with open_scan(path) as scan:
        shrunk = proofs.shrinker(scan.facts.width_px, scan.facts.height_px)
        for band in scan.bands():
            shrunk.see(band)
        proofs.of_master(shrunk.picture(), scan.facts.icc)
        proofs.add_scan("whole", scan, _measured(path.parent / "SL-0412_whole.tif"), findings)
        names = proofs.write()
    return {name: (folder / name).read_bytes() for name in names}


def seen(data: bytes) -> npt.NDArray[np.uint8]:
    return np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), np.uint8)


def test_the_proof_is_as_long_as_the_rule_book_says_and_says_how_it_was_made(scanned: Path, tmp_path: Path) -> None:
    files = written(scanned, tmp_path / "a")
    assert max(seen(files["proof.jpg"]).shape) == 800
    for words in (
        b"ICC_PROFILE\0",
        b"relative colorimetric with black point compensation",
        b"sharpened for the screen",
    ):
        assert words in files["proof.jpg"]


def test_details_are_one_for_one_and_none_stands_there_twice(scanned: Path, tmp_path: Path) -> None:
    where = Where(40.0, 30.0, 2.0, 30.0)
    twice = (Finding("seam", "doubling", Level.FAULT, None, "x", "", where),
             Finding("seam", "lift", Level.NOTE, None, "y", "", where))  # fmt: skip
    sheet = seen(written(scanned, tmp_path / "b", twice)["details.jpg"])
    tiles = _tiles(sheet)
    assert 2 <= len(tiles) <= 4
    for number, one in enumerate(tiles):
        for other in tiles[number + 1 :]:
            assert np.abs(one.astype(int) - other).mean() > 3


def test_a_scan_without_a_profile_says_so(scanned: Path, tmp_path: Path) -> None:
    plain = scanned.with_name("plain.tif")
    tifffile.imwrite(plain, tifffile.imread(scanned), photometric="rgb", resolution=(PPI, PPI), resolutionunit=2)
    assert re.search(rb"no usable profile", written(plain, tmp_path / "c")["proof.jpg"])


@cache
def _measured(path: Path) -> Measured:
    return measure_scan(Ask(str(path), BED))


def _tiles(sheet: npt.NDArray[np.uint8]) -> list[npt.NDArray[np.uint8]]:
    """Pieces of the sheet that hold pictures: between the paper of the gaps."""
    paper = np.asarray((np.abs(sheet.astype(int) - (240, 243, 245)) < 14).all(2))
    found = []
    rows = _stretches(np.asarray(~paper.all(1)), 300)
    for top, bottom in rows:
        for left, right in _stretches(np.asarray(~paper[top:bottom].all(0)), 300):
            found.append(sheet[bottom - 380 : bottom, left : left + 560][:300, :500])
            assert right - left >= 500
    return found


def _stretches(mask: npt.NDArray[np.bool_], least: int) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(int), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least]


def test_a_cut_of_a_join_is_shown_at_one_to_one_unmarked_and_marked(scanned: Path, tmp_path: Path) -> None:
    plan = JoinPlan.__new__(JoinPlan)
    object.__setattr__(plan, "cuts", (Cut("L", "R", True, 0, np.full(1400, 900.0, np.float32)),))
    proofs = Proofs(tmp_path, 800)
    proofs.add_cuts(plan, scanned, Box(0, 0, 1800, 1400))
    assert proofs.write() == ("details.jpg",)
    page = seen((tmp_path / "details.jpg").read_bytes()).astype(int)
    with open_scan(scanned) as scan:
        truth = to_srgb(scan.region(900 - 280, 700 - 190, 560, 380), scan.facts.icc)[:, :, ::-1].astype(int)
    plain, marked = page[:, : page.shape[1] // 2], page[:, page.shape[1] // 2 :]
    y, x = found_in(plain, truth)
    assert np.abs(plain[y : y + 380, x : x + 560] - truth).mean() < 4  # JPEG
    y, x = found_in(marked, truth)
    apart = np.abs(marked[y : y + 380, x : x + 560] - truth).max(axis=2)
    ticks = np.argwhere(apart > 90)
    assert 50 < len(ticks) < 4000
    assert np.abs(ticks[:, 1] - 280).max() < 30


def found_in(page: npt.NDArray[np.int_], picture: npt.NDArray[np.int_]) -> tuple[int, int]:
    surface = cv2.matchTemplate(page.astype(np.float32), picture.astype(np.float32), cv2.TM_SQDIFF)
    row, column = np.unravel_index(int(np.argmin(surface)), surface.shape)
    return int(row), int(column)
