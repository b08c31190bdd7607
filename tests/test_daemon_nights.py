"""Two nights of a small studio with the real daemon: where every file is afterwards, and what is said of it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from typing import Any

import bagit
import cv2
import numpy as np
import pytest
import tifffile
from small_studio import (
    ICC,
    PPI,
    called,
    dawnproof,
    document,
    eight_bits,
    halves,
    make_studio,
    night,
    told,
    work,
    write,
)

from dawnproof.ledger.ledger import Ledger

JOB_LIST = """\
job,width_mm,height_mm,medium,print_mm,due,hold,handling,up,parts
SL-0402,41,18,watercolour,82,2026-11-25,,,,L R
SL-0405,17.8,26.7,watercolour,,2026-11-30,with the owner,,,
SL-0409,30,18,oil,,2026-12-01,,,,
SL-0499,300,200,oil,,2026-12-24,,,,
"""
RECORD = {"dawnproof", "job", "version", "outcome", "kind", "book", "parts", "join", "crop", "print_sizes", "decisions"}
PART = {"part", "take", "role", "file", "sha256", "bytes", "bed", "admitted_utc", "readings", "findings"}
PILES = {"may_go_back", "look_first", "scan_again", "desk", "unfinished"}
MORNING = {"since", "until", "ran", "expected_not_seen", *PILES, "unplaced", "marks", "fixity", "space"}


@dataclass
class Evening:
    studio: Path
    sent: dict[str, str] = field(default_factory=dict)  # name in the inbox -> digest
    said: str = ""

    def send(self, name: str, pixels: Any, **options: Any) -> None:
        path = write(self.studio / "inbox" / name, pixels, **options)
        self.sent[name] = digest(path)

    def run(self) -> Evening:
        self.said = night(self.studio)
        return self


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def below(folder: Path) -> set[str]:
    return {str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()}


def levels(found: dict[str, Any]) -> set[tuple[str, str, str]]:
    every = [*found.get("findings", []), *(f for p in found.get("parts", []) for f in p["findings"])]
    return {(f["check"], f["name"], f["level"]) for f in every}


def jobs_of(pile: list[dict[str, Any]]) -> set[str]:
    return {entry["job"] for entry in pile}


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Evening:
    evening = Evening(make_studio(tmp_path_factory.mktemp("nights") / "prints", JOB_LIST))
    left, right = halves(2)
    evening.send("SL-0401_whole.tif", work(1))
    evening.send("sl 0402 left.tif", left)
    evening.send("bed-b/SL-0402_R (2).tif", right)
    evening.send("SL-0403_whole.tif", eight_bits(work(3)))
    evening.send("SL-0404_L.tif", halves(4)[0])
    evening.send("SL-0405_whole.tif", work(5))
    evening.send("SL-0406_whole.tif", work(6), icc=None)
    evening.send("SL-0407_whole.tif", work(7))
    evening.send("sl-0407-whole.tif", work(17))
    evening.send("SL-0408_trial.tif", work(8))
    evening.send("bed-a_ref_ref.tif", work(8) // 2 + 30000)
    evening.send("SL-0409_whole.tif", work(9))
    evening.send("portrait of a cat.tif", work(10))
    evening.send("SL-0410_whole_t2.tif", work(20))
    evening.send("SL-0410_back.tif", work(21))
    evening.send("SL-0410_overview.tif", work(20)[::2, ::2], ppi=PPI / 2)
    (evening.studio / "inbox" / "SL-0411_whole.tif").write_bytes(b"II*\x00\x08\x00\x00\x00 cut off")
    (evening.studio / "inbox" / "scanner.log").write_text("left alone")
    (evening.studio / "inbox" / "SL-0412_whole.tif").symlink_to("SL-0401_whole.tif")
    return evening.run()


@pytest.fixture(scope="module")
def record(first: Evening) -> dict[str, Any]:
    found = json.loads((first.studio / "archive/SL-0402/data/record.json").read_bytes())
    assert isinstance(found, dict)
    return found


@pytest.fixture(scope="module")
def morning(first: Evening) -> dict[str, Any]:
    return document("morning", first.studio)


def test_the_archive_holds_a_bag_a_job_with_the_scans_byte_for_byte(first: Evening) -> None:
    bag = first.studio / "archive" / "SL-0402"
    assert below(bag) == {
        "bagit.txt", "bag-info.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt", "data/record.json",
        "data/SL-0402.tif", "data/parts/sl 0402 left.tif", "data/parts/SL-0402_R (2).tif",
    }  # fmt: skip
    assert digest(bag / "data/parts/sl 0402 left.tif") == first.sent["sl 0402 left.tif"]
    assert digest(bag / "data/parts/SL-0402_R (2).tif") == first.sent["bed-b/SL-0402_R (2).tif"]
    for folder in (first.studio / "archive").glob("SL-*"):
        bagit.Bag(str(folder)).validate()


def test_the_master_keeps_profile_and_resolution(first: Evening) -> None:
    with tifffile.TiffFile(first.studio / "archive/SL-0402/data/SL-0402.tif") as tiff:
        page = tiff.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        assert page.iccprofile == ICC
        assert page.get_resolution("INCH") == pytest.approx((PPI, PPI))
        assert page.dtype == np.uint16


def test_matrices_of_the_record_lead_from_each_part_to_the_master(first: Evening, record: dict[str, Any]) -> None:
    bag = first.studio / "archive" / "SL-0402" / "data"
    master = tifffile.imread(bag / "SL-0402.tif").astype(np.float32)
    assert (record["join"]["width_px"], record["join"]["height_px"]) == (master.shape[1], master.shape[0])
    assert [p["file"] for p in record["join"]["parts"]] == ["sl 0402 left.tif", "SL-0402_R (2).tif"]
    for part, columns in zip(record["join"]["parts"], (slice(70, 200), slice(250, 400)), strict=True):
        pixels = tifffile.imread(bag / "parts" / part["file"]).astype(np.float32)
        rows = slice(80, 320)
        back = cv2.warpAffine(master, np.array(part["matrix"]), (pixels.shape[1], pixels.shape[0]),
                              flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP)  # fmt: skip
        apart = np.abs(back[rows, columns] - pixels[rows, columns]).mean()
        moved = np.abs(np.roll(back, 1, axis=1)[rows, columns] - pixels[rows, columns]).mean()
        assert apart < 0.3 * moved, (part, apart, moved)


def test_one_part_is_the_reference(record: dict[str, Any]) -> None:
    reference = [p for p in record["join"]["parts"] if p["gain"] == [1.0, 1.0, 1.0]]
    assert reference
    (a, b, tx), (c, d, ty) = reference[0]["matrix"]
    assert [a, b, c, d] == [1.0, 0.0, 0.0, 1.0]
    assert (tx, ty) == (round(tx), round(ty))


def test_the_record_has_the_keys_of_the_contract(record: dict[str, Any]) -> None:
    assert set(record) >= RECORD
    assert all(set(part) == PART for part in record["parts"])
    assert [(p["part"], p["take"], p["role"], p["bed"]) for p in record["parts"]] == [
        ("L", 1, "work", "bed-a"), ("R", 1, "work", "bed-b"),
    ]  # fmt: skip
    assert set(record["join"]) == {
        "out",
        "width_px",
        "height_px",
        "refused",
        "parts",
        "overlaps",
        "readings",
        "findings",
    }
    assert record["join"]["findings"]
    assert set(record["crop"]) == {"x", "y", "width", "height", "skew_deg"}
    assert (record["job"], record["version"], record["outcome"]) == ("SL-0402", 1, "archive")


def test_the_ordered_print_is_worked_out(record: dict[str, Any]) -> None:
    ordered = record["print_sizes"]["ordered"]
    assert ordered["long_mm"] == pytest.approx(82, abs=0.5)
    long_px = max(record["crop"]["width"], record["crop"]["height"])
    assert ordered["effective_ppi"] == pytest.approx(long_px * 25.4 / 82, rel=0.02)


def test_a_job_says_how_it_stands(first: Evening) -> None:
    found = document("job", first.studio, "sl 0402")
    assert set(found) >= RECORD | {"state", "pile", "waits_for", "moves"}
    assert (found["state"], found["pile"], found["waits_for"]) == ("archived", "look first", "")
    assert {m["sha256"] for m in found["moves"]} == {p["sha256"] for p in found["parts"]}
    assert all(set(m) == {"sha256", "from", "to", "when_utc"} for m in found["moves"])
    code, text, _ = called("job", first.studio, "SL-0402")
    assert code == 0
    assert all(word in text for word in ("look first", "part L", "part R", "prints up to", "archive/SL-0402"))


def test_rework_keeps_the_scan_with_a_note(first: Evening) -> None:
    folder = first.studio / "rework" / "SL-0403"
    assert below(folder) == {"SL-0403_whole.tif", "rescan-note.txt", "rescan-note.html", "record.json"}
    assert digest(folder / "SL-0403_whole.tif") == first.sent["SL-0403_whole.tif"]
    assert ("encoding", "depth_true", "fault") in levels(told("job", first.studio, "SL-0403"))
    assert "SL-0403" in (folder / "rescan-note.txt").read_text("utf-8")
    assert not (first.studio / "proof" / "SL-0403").exists()


def test_proofs_are_pictures_of_the_archived_jobs(first: Evening) -> None:
    for job in ("SL-0401", "SL-0402"):
        for name in ("proof.jpg", "details.jpg"):
            picture = cv2.imread(str(first.studio / "proof" / job / name))
            assert picture is not None
            assert name != "proof.jpg" or max(picture.shape) <= 3000


def test_every_pile_holds_what_belongs_there(morning: dict[str, Any]) -> None:
    assert set(morning) == MORNING
    # works as small as these are too small for the sharpness of their zones to be judged
    assert {"SL-0401", "SL-0402", "SL-0405", "SL-0410"} == jobs_of(morning["look_first"])
    assert {"SL-0403", "SL-0404"} == jobs_of(morning["scan_again"])
    assert {"SL-0406", "SL-0407", "SL-0409"} == jobs_of(morning["desk"])
    assert [e["job"] for e in morning["expected_not_seen"]] == ["SL-0499"]


def test_two_scans_that_claim_one_part_are_both_kept(first: Evening) -> None:
    found = told("job", first.studio, "SL-0407")
    assert ("job", "doubled", "fault") in levels(found)
    kept = {digest(p) for p in (first.studio / "rework" / "SL-0407").glob("*.tif")}
    assert kept == {first.sent["SL-0407_whole.tif"], first.sent["sl-0407-whole.tif"]}


def test_a_job_that_never_was_completed_says_what_is_missing(first: Evening, morning: dict[str, Any]) -> None:
    assert ("job", "missing", "fault") in levels(told("job", first.studio, "SL-0404"))
    assert [e["missing"] for e in morning["scan_again"] if e["job"] == "SL-0404"] == [["R"]]


def test_sizes_are_held_against_the_job_list_either_way_round(first: Evening) -> None:
    sizes = {job: [f["level"] for f in told("job", first.studio, job)["findings"] if f["name"] == "size"]
             for job in ("SL-0405", "SL-0409")}  # fmt: skip
    assert sizes == {"SL-0405": ["sound"], "SL-0409": ["fault"]}


def test_back_and_overview_are_filed_with_their_job(first: Evening) -> None:
    assert below(first.studio / "archive/SL-0410/data/parts") == {
        "SL-0410_whole_t2.tif", "SL-0410_back.tif", "SL-0410_overview.tif",
    }  # fmt: skip
    found = told("job", first.studio, "SL-0410")
    assert {(p["role"], p["take"]) for p in found["parts"]} == {("work", 2), ("back", 1), ("overview", 1)}


def test_what_belongs_to_no_job_has_a_place_of_its_own(first: Evening, morning: dict[str, Any]) -> None:
    rework = first.studio / "rework"
    assert below(rework / "_trials") == {"SL-0408_trial.tif"}
    assert digest(first.studio / "archive/_reference/bed-a/bed-a_ref_ref.tif") == first.sent["bed-a_ref_ref.tif"]
    assert below(rework / "_unplaced") == {"portrait of a cat.tif", "SL-0411_whole.tif", "REASONS.txt"}
    reasons = (rework / "_unplaced" / "REASONS.txt").read_text("utf-8")
    unplaced = {entry["file"]: entry["reason"] for entry in morning["unplaced"]}
    for name in ("portrait of a cat.tif", "SL-0411_whole.tif", "SL-0412_whole.tif"):
        assert name in reasons
        assert unplaced[name]
    assert {p.name for p in (first.studio / "inbox").iterdir()} == {
        "bed-a",
        "bed-b",
        "scanner.log",
        "SL-0412_whole.tif",
    }


def test_every_scan_has_one_home_and_lies_there(first: Evening) -> None:
    ledger = Ledger.read(first.studio / ".dawnproof" / "ledger.sqlite3")
    try:
        rows = [r for job in ledger.jobs() for r in ledger.scans_of(job.job)]
    finally:
        ledger.close()
    assert len({r.sha256 for r in rows}) == len(rows)
    assert all(digest(Path(r.home)) == r.sha256 for r in rows)


def test_the_morning_is_written_as_page_text_document_and_sheet(first: Evening, morning: dict[str, Any]) -> None:
    names = below(first.studio / "morning")
    for ending in (".html", ".txt", ".json", "-scan-again.html"):
        assert any(name.endswith(ending) for name in names), ending
    code, text, _ = called("morning", first.studio, "--due", "2026-11-30")
    assert code == 0
    assert "SL-0402" in text
    assert "SL-0499" not in text


@pytest.fixture(scope="module")
def second(first: Evening, record: dict[str, Any], morning: dict[str, Any]) -> Evening:
    """The next evening; what the first tests look at was looked at before."""
    evening = Evening(first.studio)
    right = halves(2)[1]
    evening.send("SL-0401_whole.tif", work(1) + np.uint16(3))  # once more: a new version
    evening.send("SL-0402_R_t2.tif", right + np.uint16(5))  # one part anew
    evening.send("SL-0403_whole.tif", work(3))  # made good
    evening.send("SL-0404_R.tif", halves(4)[1])  # the missing part
    evening.send("SL-0405_whole_t2.tif", work(55))  # another picture
    evening.send("SL-0409_again.tif", work(9))  # the same bytes under a name nobody understands
    evening.send("SL-0410_whole_t3.tif", eight_bits(work(20)))  # a new version that fails
    evening.send("portrait of a cat.tif", work(11))
    return evening.run()


def test_a_rework_made_good_moves_to_the_archive_and_its_folder_goes(first: Evening, second: Evening) -> None:
    assert not (second.studio / "rework" / "SL-0403").exists()
    bag = second.studio / "archive" / "SL-0403"
    assert [digest(p) for p in (bag / "data/parts").iterdir()] == [second.sent["SL-0403_whole.tif"]]
    closed = second.studio / "rework" / "_closed" / "SL-0403"
    assert below(closed) == {"SL-0403_whole.tif", "rescan-note.txt", "rescan-note.html", "record.json"}
    assert digest(closed / "SL-0403_whole.tif") == first.sent["SL-0403_whole.tif"]
    assert [(p["take"]) for p in json.loads((bag / "data/record.json").read_bytes())["parts"]] == [2]
    assert (second.studio / "proof" / "SL-0403" / "proof.jpg").is_file()


def test_a_missing_part_completes_its_job(second: Evening) -> None:
    assert below(second.studio / "archive/SL-0404/data/parts") == {"SL-0404_L.tif", "SL-0404_R.tif"}
    assert not (second.studio / "rework" / "SL-0404").exists()


def test_a_later_scan_makes_a_whole_new_bag_and_leaves_the_last_one(first: Evening, second: Evening) -> None:
    archive = second.studio / "archive"
    assert digest(archive / "SL-0401/data/parts/SL-0401_whole.tif") == first.sent["SL-0401_whole.tif"]
    new = archive / "SL-0402.v2" / "data"
    assert {digest(p) for p in (new / "parts").iterdir()} == {
        first.sent["sl 0402 left.tif"], second.sent["SL-0402_R_t2.tif"],
    }  # fmt: skip
    assert (new / "SL-0402.tif").is_file()
    for name in ("SL-0401", "SL-0401.v2", "SL-0402", "SL-0402.v2"):
        bagit.Bag(str(archive / name)).validate()
    assert told("job", second.studio, "SL-0402")["version"] == 2


def test_a_new_version_that_fails_leaves_the_last_bag(first: Evening, second: Evening) -> None:
    bag = second.studio / "archive" / "SL-0410"
    assert digest(bag / "data/parts/SL-0410_whole_t2.tif") == first.sent["SL-0410_whole_t2.tif"]
    assert not (second.studio / "archive" / "SL-0410.v2").exists()
    assert "SL-0410_whole_t3.tif" in below(second.studio / "rework" / "SL-0410")


def test_another_picture_never_supersedes(first: Evening, second: Evening) -> None:
    found = told("job", second.studio, "SL-0405")
    assert ("job", "other_picture", "fault") in levels(found)
    assert digest(second.studio / "archive/SL-0405/data/parts/SL-0405_whole.tif") == first.sent["SL-0405_whole.tif"]
    assert digest(second.studio / "rework/SL-0405/SL-0405_whole_t2.tif") == second.sent["SL-0405_whole_t2.tif"]
    assert found["pile"] == "mend at the desk"
    pictures = second.studio / ".dawnproof" / "bench" / "pictures" / "SL-0405"
    height, width, _ = np.asarray(cv2.imread(str(pictures / "parts.jpg"))).shape
    assert width > 2 * height  # both takes side by side, to be told apart


def test_the_same_bytes_again_and_taken_names_are_set_aside(second: Evening) -> None:
    unplaced = second.studio / "rework" / "_unplaced"
    reasons = (unplaced / "REASONS.txt").read_text("utf-8")
    assert "same bytes as" in reasons
    assert {"portrait of a cat.tif", "portrait of a cat~2.tif", "SL-0409_again.tif"} <= below(unplaced)
    assert digest(unplaced / "portrait of a cat~2.tif") == second.sent["portrait of a cat.tif"]


def test_verify_finds_what_was_done_to_the_archive(second: Evening) -> None:
    assert all(bag["ok"] for bag in document("verify", second.studio)["bags"])
    archive = second.studio / "archive"
    scan = archive / "SL-0401.v2/data/parts/SL-0401_whole.tif"
    scan.write_bytes(scan.read_bytes()[:-1] + b"x")
    (archive / "SL-0403/data/extra.txt").write_text("not listed")
    (archive / "SL-0404/data/parts/SL-0404_R.tif").unlink()
    found = {(b["job"], b["version"]): b for b in document("verify", second.studio, code=1)["bags"]}
    assert all(set(b) == {"job", "version", "ok", "changed", "missing", "extra", "unreadable"} for b in found.values())
    assert found["SL-0401", 2]["changed"] == ["data/parts/SL-0401_whole.tif"]
    assert found["SL-0403", 1]["extra"] == ["data/extra.txt"]
    assert found["SL-0404", 1]["missing"] == ["data/parts/SL-0404_R.tif"]
    assert found["SL-0401", 1]["ok"]
    ran = dawnproof("verify", second.studio, "SL-0403")
    assert ran.returncode == 1
    assert "extra: data/extra.txt" in ran.stdout


def test_parts_in_different_lights_are_masters_of_their_own(tmp_path: Path) -> None:
    more = '\n[naming]\npattern = "{job}_{part}[_{light}][_t{take}]"\n'
    studio = make_studio(tmp_path / "prints", more=more)
    write(studio / "inbox/SL-0401_whole_rake.tif", work(1))
    write(studio / "inbox/SL-0401_whole_flat.tif", work(1) + np.uint16(9))
    write(studio / "inbox/SL-0402_whole_rake.tif", work(2))
    left, right = halves(3)
    for light, pixels in (("rake", (left, right)), ("flat", (left // 2 + 20000, right // 2 + 20000))):
        for part, scan in zip("LR", pixels, strict=True):
            write(studio / f"inbox/SL-0403_{part}_{light}.tif", scan)
    night(studio)
    masters = {str(p.relative_to(studio / "archive")) for p in studio.glob("archive/*/data/*.tif")}
    assert masters == {
        "SL-0401/data/SL-0401_flat.tif", "SL-0401/data/SL-0401_rake.tif", "SL-0402/data/SL-0402.tif",
        "SL-0403/data/SL-0403_flat.tif", "SL-0403/data/SL-0403_rake.tif",
    }  # fmt: skip
    rake, flat = (tifffile.imread(studio / f"archive/SL-0403/data/SL-0403_{light}.tif") for light in ("rake", "flat"))
    assert np.abs(np.subtract(rake.shape, flat.shape)).max() <= 1, "each is cropped by itself, to a pixel"
    rows, columns = min(len(rake), len(flat)) - 1, min(rake.shape[1], flat.shape[1]) - 1
    places = list(product((0, 1), repeat=2))
    ours, theirs = (
        [view[top : top + rows, left : left + columns].astype(int) for top, left in places]
        for view in (rake // 2 + 20000, flat)
    )
    off = min(np.abs(one - other).max() for one, other in product(ours, theirs))
    assert off <= 2, "no pixel of the one in the other"
