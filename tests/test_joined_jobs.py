"""Jobs of two parts through the real daemon: doubling that the join leaves out and doubling that it would show, with
the place on the bed known and unknown; light that differs; and what an overview has to say."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pytest
import tifffile
from real_pictures import DATA
from scans import Lid, Scan, Stitch, cameras, make_scan, write_tiff
from small_studio import night, told
from surfaces import Surface, from_picture, load, relief

PPI = 300.0
ROWS, COLUMNS = 420, 1180  # of the work
BED_PX, SEAM_PX = 945, 640.0  # 80 mm of glass, its stitch right of the middle
DOUBLING_PX = 9.0
MARGIN = 60
BOOK = """\
based_on = "fine-art"

[intake]
settle_s = 0.5
scan_s = 0.5

[archive]
reserve_gb = 0.0

[limits.join]
overlap = { note = 5.0, fault = 1.0, below = true }

[beds.bed-a]
width_mm = 80.0
length_mm = 90.0
seam_mm = 54.19
parallax = 0.5
lid = "white"

[beds.bed-b]
width_mm = 90.0
length_mm = 90.0
lid = "white"
"""
ICC = (DATA / "icc" / "sRGB-v4.icc").read_bytes()
COVERED, NARROW = 350, 800  # where on the work the right part begins: before the strip of the left one, behind it


def artwork(seed: int, strength: float = 0.06) -> Surface:
    picture = load(str(DATA / "pictures" / "seeding_cut.jpg"))
    surface = from_picture(picture, ROWS, COLUMNS, seed=seed, halve=False)
    toned = (0.2 + 0.6 * surface).astype(np.float32)
    return relief(toned, load(str(DATA / "textures" / "gravel.png")), strength, seed=seed)


def left_part(seed: int, lifted: bool) -> Scan:
    """As wide as the bed, with its stitch at column 640; `lifted`: a ridge of the work along the stitch, about 10 mm
    wide, stands off the glass."""
    cams = cameras(seed, gain=0.004)
    beyond = BED_PX - MARGIN - COLUMNS
    lid = Lid("white", (MARGIN, MARGIN, beyond, MARGIN), 0.1)
    flat = make_scan(artwork(seed), lid, Stitch(SEAM_PX, left=cams[0], right=cams[1]), ppi=PPI, seed=seed)
    return replace(flat, pixels=ridge_seen_twice(flat.pixels)) if lifted else flat


def ridge_seen_twice(pixels: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Either camera sees the ridge pushed away from the stitch, so that its crest appears on both sides of it."""
    x = np.arange(pixels.shape[1], dtype=np.float32)
    pushed = np.exp(-(((x - SEAM_PX) / 60) ** 2)) * DOUBLING_PX / 2
    source = np.where(x < SEAM_PX - 0.5, x + pushed, x - pushed).astype(np.float32)
    rows = np.arange(pixels.shape[0], dtype=np.float32)
    return np.asarray(cv2.remap(pixels, *np.meshgrid(source, rows), interpolation=cv2.INTER_LANCZOS4))


def right_part(seed: int, begins: int, strength: float = 0.06) -> Scan:
    """The rest of the work, from column `begins` of it on, on a bed with one camera."""
    work = artwork(seed, strength)
    return make_scan(work, Lid("white", (-begins, MARGIN, MARGIN, MARGIN), -0.1), None, ppi=PPI, seed=seed + 50)


def narrower(scan: Scan) -> npt.NDArray[Any]:
    """What a scan of a smaller area shows, without saying where on the bed it lay."""
    return np.ascontiguousarray(scan.pixels[:, 35:])


def save(path: Path, pixels: npt.NDArray[Any], ppi: float = PPI) -> None:
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(ppi, ppi), resolutionunit="INCH", iccprofile=ICC,
                     rowsperstrip=64, metadata=None)  # fmt: skip


def overview(work: Surface, shift: int = 0) -> npt.NDArray[Any]:
    """Half the resolution, softer and in another tone; `shift`: the right half stands that many px further
    right than it does on the work, as where a part was scanned in its absence."""
    middle = work.shape[1] // 2
    gap = work[:, middle : middle + 1].repeat(shift, axis=1)
    whole = np.concatenate([work[:, :middle], gap, work[:, middle:]], axis=1)
    laid = cv2.copyMakeBorder(whole, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=(0.94, 0.94, 0.94, 0.94))
    small = cv2.resize(laid, (laid.shape[1] // 2, laid.shape[0] // 2), interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), 0.6) ** 0.5
    return np.asarray(np.rint(np.clip(soft, 0, 0.98) * 65535), np.uint16)


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("joined") / "prints"
    inbox = root / "inbox"
    (inbox / "bed-b").mkdir(parents=True)
    (root / "dawnproof.toml").write_text(BOOK, encoding="utf-8")
    for seed, begins in ((601, COVERED), (602, NARROW)):
        write_tiff(inbox / f"SL-0{seed}_L.tif", left_part(seed, lifted=True), icc=ICC)
        write_tiff(inbox / f"bed-b/SL-0{seed}_R.tif", right_part(seed, begins), icc=ICC)
    for seed, begins in ((603, COVERED), (604, NARROW)):
        save(inbox / f"SL-0{seed}_L.tif", narrower(left_part(seed, lifted=True)))
        write_tiff(inbox / f"bed-b/SL-0{seed}_R.tif", right_part(seed, begins), icc=ICC)
    for seed, strength in ((605, -0.06), (606, 0.06), (607, 0.06)):
        write_tiff(inbox / f"SL-0{seed}_L.tif", left_part(seed, lifted=False), icc=ICC)
        write_tiff(inbox / f"bed-b/SL-0{seed}_R.tif", right_part(seed, 700, strength), icc=ICC)
    for seed, shift in ((606, 0), (607, 60)):
        save(inbox / f"SL-0{seed}_overview.tif", overview(artwork(seed), shift), PPI / 2)
    night(root)
    return root


def said(found: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    every = [*found["findings"], *(f for part in found["parts"] for f in part["findings"])]
    return [(f["check"], f["name"], f["level"], f["text"]) for f in every]


def of(found: dict[str, Any], check: str, name: str) -> list[tuple[str, str]]:
    return [(level, text) for c, n, level, text in said(found) if (c, n) == (check, name)]


def test_doubling_in_a_strip_that_the_other_part_covers_is_a_note_and_not_in_the_master(studio: Path) -> None:
    found = told("job", studio, "SL-0601")
    assert found["outcome"] == "archive", said(found)
    assert [level for level, text in of(found, "seam", "doubling") if "8.9 px" in text] == ["note"]
    assert any("is not used: another part covers it" in text for _, text in of(found, "join", "strip_not_used"))
    assert not [f for f in said(found) if f[2] == "fault"]
    master = tifffile.imread(studio / "archive/SL-0601/data/SL-0601.tif")
    left = tifffile.imread(studio / "archive/SL-0601/data/parts/SL-0601_L.tif")
    right = tifffile.imread(studio / "archive/SL-0601/data/parts/SL-0601_R.tif")
    from_right = unlike(master, right, found, "SL-0601_R.tif", place_of_strip(found))
    from_left = unlike(master, left, found, "SL-0601_L.tif", place_of_strip(found))
    assert from_right < 0.75 * from_left  # noise and the resampled bend remain in both


def place_of_strip(found: dict[str, Any]) -> tuple[float, float]:
    """Middle of L's stitch strip on the master, x and y."""
    matrix = next(np.array(p["matrix"]) for p in found["join"]["parts"] if p["file"].endswith("_L.tif"))
    x, y = matrix @ np.array([SEAM_PX, 260.0, 1.0])
    return float(x), float(y)


def unlike(
    master: npt.NDArray[Any], part: npt.NDArray[Any], found: dict[str, Any], file: str, place: tuple[float, float]
) -> float:
    """How far the master around `place` is from this part's picture, as a share of full scale."""
    matrix = next(np.array(p["matrix"]) for p in found["join"]["parts"] if p["file"] == file)
    x, y = (round(v) for v in place)
    patch = master[y - 60 : y + 60, x - 4 : x + 5].astype(np.float32)
    v, u = np.mgrid[y - 60 : y + 60, x - 4 : x + 5].astype(np.float32)
    back = np.linalg.inv(matrix[:, :2])
    at = np.stack([u - matrix[0, 2], v - matrix[1, 2]], axis=2) @ back.T
    own = cv2.remap(part.astype(np.float32), at[:, :, 0].astype(np.float32), at[:, :, 1].astype(np.float32),
                    cv2.INTER_CUBIC)  # fmt: skip
    own *= patch.mean() / own.mean()
    return float(np.abs(own - patch).mean() / 65535)


@pytest.mark.parametrize("job", ["SL-0602", "SL-0604"])
def test_doubling_in_the_used_area_never_passes_unnoticed(studio: Path, job: str) -> None:
    """A fault where it is certain; where it is not, the work waits for a look. Where the second one lay on the bed
    nobody knows."""
    found = told("job", studio, job)
    [level] = [level for level, text in of(found, "seam", "doubling") if "8.9 px" in text]
    if level == "fault":
        assert found["pile"] == "scan again"
    else:
        assert found["pile"] == "look first"
        assert any("is seen but not certain" in text for _, text in of(found, "join", "strip_used"))


def test_a_stitch_of_unknown_place_is_barred_where_its_doubling_was_found(studio: Path) -> None:
    found = told("job", studio, "SL-0603")
    assert found["outcome"] == "archive", said(found)
    assert any("is not used: another part covers it" in text for _, text in of(found, "join", "strip_not_used"))


def test_parts_in_another_light_are_joined_with_a_fault_that_says_so(studio: Path) -> None:
    found = told("job", studio, "SL-0605")
    assert found["outcome"] == "rework"
    assert found["join"]["refused"] is None
    assert any(level == "fault" and "lit differently" in text for level, text in of(found, "join", "light"))


def test_an_overview_that_agrees_is_said_in_the_record(studio: Path) -> None:
    found = told("job", studio, "SL-0606")
    assert found["outcome"] == "archive", said(found)
    [(level, text)] = of(found, "join", "overview")
    assert level == "sound"
    assert text.startswith("the overview SL-0606_overview.tif shows every part where the join put it")


def test_an_overview_that_contradicts_sends_the_job_to_rework_naming_what_differs(studio: Path) -> None:
    found = told("job", studio, "SL-0607")
    assert found["outcome"] == "rework"
    faults = [text for level, text in of(found, "join", "contradiction") if level == "fault"]
    assert len(faults) == 1
    assert "SL-0607_R.tif lies 5.1 mm" in faults[0]  # 60 px
    note = (studio / "rework/SL-0607/rescan-note.txt").read_text(encoding="utf-8")
    assert "the overview SL-0607_overview.tif contradicts the join" in " ".join(note.split())
