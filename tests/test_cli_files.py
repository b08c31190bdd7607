"""`examine` and `join`: documents, exit codes, and what is left behind, as a program that calls them sees it."""

from __future__ import annotations

import hashlib
import os
import signal
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile
from small_studio import ICC, PPI, called, dawnproof, document, eight_bits, halves, interrupted, told, work, write

from dawnproof.errors import WorkerDied

SCAN = {"file", "sha256", "bytes", "width_px", "height_px", "outcome", "readings", "findings", "crop", "error"}
READING = {"check", "name", "value", "unit", "sure", "where"}
FINDING = {"check", "name", "level", "needs", "text", "advice"}
JOIN = {"out", "width_px", "height_px", "refused", "parts", "overlaps", "readings", "findings"}
OVERLAP = {"a", "b", "share", "residual_px", "warp_px", "rotation_deg", "tone_percent", "relief"}
NAMES = {
    "encoding": {"depth_declared", "depth_true", "channels", "profile", "compression"},
    "resolution": {"ppi_x", "ppi_y", "scale_plausible", "detail_x", "detail_y", "halo", "noise"},
    "clipping": {"high_red", "high_green", "high_blue", "low_red", "low_green", "low_blue", "region"},
    "seam": {"doubling", "lift", "step", "shift"},
    "fringe": {"red_green", "blue_green"},
    "travel": {"wander", "rows"},
    "focus": {"softest"},
    "streaks": {"count", "worst"},
    "crop": {"skew", "margin", "works"},
}
BOOK = 'based_on = "fine-art"\n[limits.join]\noverlap = { note = 5.0, fault = 1.0, below = true }\n'


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("files")


@pytest.fixture(scope="module")
def examined(folder: Path) -> dict[str, Any]:
    write(folder / "SL-0401_whole.tif", work(1))
    write(folder / "SL-0403_whole.tif", eight_bits(work(3)))
    (folder / "cut.tif").write_bytes((folder / "SL-0401_whole.tif").read_bytes()[:-5000])
    os.mkfifo(folder / "pipe.tif")
    return document("examine", *(folder / n for n in ("SL-0403_whole.tif", "cut.tif", "SL-0401_whole.tif", "pipe.tif")),
                    code=1)  # fmt: skip


def test_examine_gives_one_entry_a_file_in_the_order_given(folder: Path, examined: dict[str, Any]) -> None:
    assert set(examined) == {"dawnproof", "book", "scans"}
    assert examined["book"] == "fine-art"
    assert [Path(s["file"]).name for s in examined["scans"]] == [
        "SL-0403_whole.tif", "cut.tif", "SL-0401_whole.tif", "pipe.tif",
    ]  # fmt: skip
    for scan in examined["scans"]:
        assert set(scan) == SCAN
    sound = examined["scans"][2]
    data = (folder / "SL-0401_whole.tif").read_bytes()
    assert (sound["sha256"], sound["bytes"]) == (hashlib.sha256(data).hexdigest(), len(data))
    assert (sound["outcome"], sound["error"]) == ("archive", None)
    assert examined["scans"][0]["outcome"] == "rework"


def test_where_a_file_cannot_be_measured_everything_else_is_empty(examined: dict[str, Any]) -> None:
    for scan in (examined["scans"][1], examined["scans"][3]):
        assert scan["error"]
        assert (scan["readings"], scan["findings"], scan["crop"], scan["outcome"]) == ([], [], None, "rework")
        assert (scan["bytes"], scan["width_px"], scan["height_px"]) == (None, None, None)


def test_readings_have_the_names_and_findings_the_keys_of_the_contract(examined: dict[str, Any]) -> None:
    scan = examined["scans"][2]
    found: dict[str, set[str]] = {}
    for reading in scan["readings"]:
        assert set(reading) == READING
        assert isinstance(reading["value"], int | float | str | None)
        assert 0 <= reading["sure"] <= 1
        found.setdefault(reading["check"], set()).add(reading["name"])
    assert found == NAMES
    for finding in scan["findings"]:
        assert set(finding) == FINDING
        assert finding["level"] in {"sound", "note", "fault", "undecided"}
        assert (finding["needs"] is not None) is (finding["level"] == "fault")
    undecided = {(f["check"], f["name"]) for f in scan["findings"] if f["level"] == "undecided"}
    assert undecided == {(r["check"], r["name"]) for r in scan["readings"] if r["value"] is None}


def test_the_crop_is_the_place_of_the_work_and_a_border(examined: dict[str, Any]) -> None:
    scan = examined["scans"][2]
    where = next(r["where"] for r in scan["readings"] if (r["check"], r["name"]) == ("crop", "skew"))
    crop, border, per_mm = scan["crop"], round(3 * PPI / 25.4), PPI / 25.4
    assert all(isinstance(crop[key], int) for key in ("x", "y", "width", "height"))
    assert crop["x"] == pytest.approx(where["x_mm"] * per_mm - border, abs=1.01)
    assert crop["y"] == pytest.approx(where["y_mm"] * per_mm - border, abs=1.01)
    assert crop["width"] == pytest.approx(where["width_mm"] * per_mm + 2 * border, abs=1.01)
    assert crop["height"] == pytest.approx(where["height_mm"] * per_mm + 2 * border, abs=1.01)


def test_in_words_the_cautions_stand_once_and_last(folder: Path) -> None:
    write(folder / "SL-0421_whole.tif", eight_bits(work(21)))
    code, text, _ = called("examine", folder / "SL-0403_whole.tif", folder / "SL-0421_whole.tif")
    assert code == 1
    assert text.count("Never lay powdery") == 1
    assert text.index("cautions:") > text.index("SL-0421")


def test_one_file_whose_measuring_breaks_does_not_take_the_others_along(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Breaking:
        def __init__(self, *limits: object) -> None:
            self.errors: list[Exception] = [WorkerDied("the child measuring this file was stopped"), KeyError("what")]

        def submit(self, *task: object) -> Future[Any]:
            future: Future[Any] = Future()
            future.set_exception(self.errors.pop(0))
            return future

        def watch(self) -> None: ...

        def close(self, wait: bool, reap: bool) -> None: ...

    monkeypatch.setattr("dawnproof.workers.pool.Pool", Breaking)
    code, out, _ = called("examine", folder / "SL-0401_whole.tif", folder / "SL-0403_whole.tif", "--json")
    assert code == 1
    assert "was stopped" in out
    assert "inside the program (KeyError" in out


@pytest.fixture(scope="module")
def joined(folder: Path) -> dict[str, Any]:
    left, right = halves(2)
    write(folder / "SL-0402_L.tif", left)
    write(folder / "SL-0402_R.tif", right)
    (folder / "book.toml").write_text(BOOK)
    return document("join", folder / "SL-0402_L.tif", folder / "SL-0402_R.tif", "--out", folder / "SL-0402.tif",
                    "--book", folder / "book.toml")  # fmt: skip


def test_join_gives_the_document_of_the_contract(folder: Path, joined: dict[str, Any]) -> None:
    assert set(joined) == JOIN
    assert (joined["out"], joined["refused"]) == (str(folder / "SL-0402.tif"), None)
    assert [set(part) for part in joined["parts"]] == [{"file", "matrix", "gain"}] * 2
    assert [set(overlap) for overlap in joined["overlaps"]] == [OVERLAP]
    assert {r["name"] for r in joined["readings"]} == {"residual", "warp", "tone", "relief", "overlap", "rotation"}
    assert all(set(f) == FINDING for f in joined["findings"])
    assert any("linearised" in f["text"] for f in joined["findings"])
    with tifffile.TiffFile(folder / "SL-0402.tif") as tiff:
        page = tiff.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        assert page.shape == (joined["height_px"], joined["width_px"], 3)
        assert page.iccprofile == ICC
        assert page.get_resolution("INCH") == pytest.approx((PPI, PPI))


def test_matrices_lead_from_pixel_centres_of_the_parts_to_the_uncropped_image(
    folder: Path, joined: dict[str, Any]
) -> None:
    whole = tifffile.imread(folder / "SL-0402.tif").astype(np.float32)
    for part in joined["parts"]:
        pixels = tifffile.imread(part["file"]).astype(np.float32)
        size = (pixels.shape[1], pixels.shape[0])
        flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
        back = cv2.warpAffine(whole, np.array(part["matrix"]), size, flags=flags)
        half = np.array(part["matrix"]) + np.array([[0, 0, 0.5], [0, 0, 0]])
        aside = cv2.warpAffine(whole, half, size, flags=flags)
        place = np.s_[80:320, 70:200] if Path(part["file"]).stem.endswith("L") else np.s_[80:320, 250:400]
        apart, half_off = (np.abs(image[place] - pixels[place]).mean() for image in (back, aside))
        assert apart < 0.4 * half_off, (part, apart, half_off)


def test_the_reference_part_is_shifted_by_whole_pixels_only(joined: dict[str, Any]) -> None:
    assert any(
        part["gain"] == [1.0, 1.0, 1.0]
        and [row[:2] for row in part["matrix"]] == [[1.0, 0.0], [0.0, 1.0]]
        and all(row[2] == round(row[2]) for row in part["matrix"])
        for part in joined["parts"]
    )


def _grey(folder: Path) -> list[Path]:
    return [folder / "SL-0402_L.tif", write(folder / "SL-0402_grey.tif", halves(2)[1][..., 1], icc=None)]


def _cut_short(folder: Path) -> list[Path]:
    cut = folder / "short_R.tif"
    cut.write_bytes((folder / "SL-0402_R.tif").read_bytes()[:-9000])
    return [folder / "SL-0402_L.tif", cut]


def _twice(folder: Path) -> list[Path]:
    return [folder / "SL-0402_L.tif", folder / "SL-0402_L.tif"]


def _strangers(folder: Path) -> list[Path]:
    return [folder / "SL-0402_L.tif", write(folder / "other_R.tif", halves(33)[1])]


@pytest.mark.parametrize("parts", [_grey, _cut_short, _twice, _strangers])
def test_what_does_not_belong_together_is_refused_and_leaves_nothing(
    folder: Path, joined: dict[str, Any], parts: Any
) -> None:
    given = parts(folder)
    before = sorted(folder.iterdir())
    found = document("join", *given, "--out", folder / "never.tif", code=1)
    assert set(found) == JOIN
    assert (found["out"], found["parts"], found["overlaps"]) == (None, [], [])
    assert found["refused"]
    assert [f["level"] for f in found["findings"]] == ["fault"]
    assert sorted(folder.iterdir()) == before


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["examine", "nowhere.tif"], "nowhere.tif"),
        (["examine", "."], "is a folder"),
        (["examine", "here.tif", "--book", "no-such"], "no-such"),
        (["examine", "here.tif", "--bed", "bed-z"], "bed-z"),
        (["examine", "here.tif", "--kind", "fresco"], "fresco"),
        (["join", "here.tif", "--out", "x.tif"], "two parts"),
        (["join", "here.tif", "nowhere.tif", "--out", "x.tif"], "nowhere.tif"),
        (["join", "here.tif", "here.tif", "--out", "here.tif"], "exists already"),
        (["join", "here.tif", "here.tif", "--out", "no/x.tif"], "no does not exist"),
        (["examine"], "Missing argument"),
        (["join", "here.tif", "here.tif"], "--out"),
        (["exmine"], "exmine"),
        (["examine", "here.tif", "--jsn"], "--jsn"),
    ],
)
def test_wrong_usage_is_2_and_named_on_stderr(
    words: list[str], named: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "here.tif").write_bytes(b"II*\0")
    monkeypatch.chdir(tmp_path)
    code, out, err = called(*words)
    assert code == 2
    assert named in err
    assert out == ""


def test_wrong_usage_of_the_installed_command_keeps_stdout_empty(tmp_path: Path) -> None:
    ran = dawnproof("examine", "nowhere.tif", "--json", cwd=tmp_path)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr == "dawnproof: no such file: nowhere.tif\n"


def test_interrupted_is_130(folder: Path, examined: dict[str, Any], joined: dict[str, Any]) -> None:
    ran = interrupted(["examine", str(folder / "SL-0401_whole.tif")], "")
    assert ran.returncode == 128 + signal.SIGINT
    ran = interrupted(["join", str(folder / "SL-0402_L.tif"), str(folder / "SL-0402_R.tif"), "--out",
                       str(folder / "never.tif")], "")  # fmt: skip
    assert ran.returncode == 128 + signal.SIGINT
    assert not [p for p in folder.iterdir() if "never" in p.name]


def test_a_name_may_say_role_and_bed(folder: Path) -> None:
    write(folder / "SL-0430_back.tif", eight_bits(work(30)))
    assert told("examine", folder / "SL-0430_back.tif")["scans"][0]["outcome"] == "archive"
