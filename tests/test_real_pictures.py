"""The whole round on scans made from real pictures and real textures."""

from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest
import tifffile
from real_pictures import BED_PX, DATA, DOUBLING_PX, SEAM_PX, Made, real_studio
from small_studio import document, night, told


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("real") / "studio"


@pytest.fixture(scope="module")
def made(studio: Path) -> list[Made]:
    return real_studio(studio)


def pixels_of(studio: Path, entry: Made) -> np.ndarray:
    return np.asarray(tifffile.imread(studio / "inbox" / entry.file_name))


def the(made: list[Made], wrong: str) -> Made:
    return next(entry for entry in made if entry.wrong == wrong)


def test_the_pictures_are_the_ones_listed() -> None:
    listed = (DATA / "SOURCES.md").read_text(encoding="utf-8")
    for folder in ("pictures", "textures"):
        for path in (DATA / folder).iterdir():
            assert f"| {folder}/{path.name} |" in listed
            assert sha256(path.read_bytes()).hexdigest() in listed


def test_scans_are_16_bit_with_resolution_and_profile_where_they_should(studio: Path, made: list[Made]) -> None:
    assert sorted(p.name for p in (studio / "inbox").iterdir()) == sorted(entry.file_name for entry in made)
    for entry in made:
        with tifffile.TiffFile(studio / "inbox" / entry.file_name) as tiff:
            page = tiff.pages[0]
            assert isinstance(page, tifffile.TiffPage)
            assert page.dtype == np.uint16
            assert (page.iccprofile is None) is (entry.wrong == "encoding.profile")
            coarse = entry.wrong == "resolution.ppi_x"
            assert page.get_resolution("INCH")[0] == pytest.approx(200 if coarse else 400)
            assert page.shape == ((708, 945, 3) if coarse else (*BED_PX, 3))


def test_each_fault_is_really_there_and_only_there(studio: Path, made: list[Made]) -> None:
    for entry in made:
        pixels = pixels_of(studio, entry)
        bytes_only = not (pixels % 257).any()
        assert bytes_only is (entry.wrong == "encoding.depth_true"), entry
        clipped_mm2 = int((pixels == 65535).all(axis=2).sum()) * (25.4 / 400) ** 2
        assert (clipped_mm2 > 50) is (entry.wrong == "clipping.region"), (entry, clipped_mm2)
    seam, doubling = int(SEAM_PX), int(DOUBLING_PX)
    rows = pixels_of(studio, the(made, "seam.doubling"))[300:1100].astype(float)
    left, again = rows[:, seam - doubling : seam], rows[:, seam : seam + doubling]
    assert np.corrcoef(left.ravel(), again.ravel())[0, 1] > 0.97


def test_the_halves_show_the_same_strip(studio: Path, made: list[Made]) -> None:
    """The overlap of L and R, found by their own pixels: 400 px of 2980, near the same rows."""
    left, right = (pixels_of(studio, entry).mean(axis=2) for entry in made if entry.job == "SL-0503")
    strip = left[600:800, -390:-90] - left[600:800, -390:-90].mean()
    best = max(
        float(np.corrcoef(strip.ravel(), right[600 + down : 800 + down, over : over + 300].ravel())[0, 1])
        for down in range(-8, 9)
        for over in range(2, 20)
    )
    assert best > 0.9


def test_the_daemon_finds_each_fault_and_archives_the_sound_works(studio: Path, made: list[Made]) -> None:
    """The whole round on all of them; runs last, since the scans leave the inbox."""
    night(studio)
    piles = {e["job"]: pile for pile in ("may_go_back", "look_first", "scan_again", "desk")
             for e in document("morning", studio)[pile]}  # fmt: skip
    assert set(piles) == {entry.job for entry in made}
    for entry in made:
        found = told("job", studio, entry.job)
        faults = {
            f"{f['check']}.{f['name']}" for part in found["parts"] for f in part["findings"] if f["level"] == "fault"
        }
        if entry.wrong:
            assert entry.wrong in faults, entry
            assert piles[entry.job] == ("desk" if entry.wrong == "encoding.profile" else "scan_again")
        else:
            assert not faults, entry
            assert piles[entry.job] in {"may_go_back", "look_first"}
            assert (studio / "archive" / entry.job / "data" / f"{entry.job}.tif").is_file()


def test_more_pictures_become_sound_works(tmp_path: Path, shared_testdata: Path) -> None:
    pictures = (shared_testdata / "pictures" / "painting_the_scream_munch.jpg",)
    made = real_studio(tmp_path / "studio", pictures)
    assert [entry.wrong for entry in made if entry.job == "SL-0520"] == [""]
    assert pixels_of(tmp_path / "studio", made[-1]).std() > 3000
