import json
import math

import numpy as np
import pytest

from dawnproof.model import (
    Box,
    Crop,
    Decision,
    Finding,
    JobRow,
    JobState,
    JobView,
    Level,
    Measured,
    MoveRow,
    Needs,
    Outcome,
    PartName,
    Pile,
    Place,
    Reading,
    ScanRow,
    SeamSample,
    Where,
)
from dawnproof.print_sizes import largest_prints, ordered_print
from dawnproof.report.documents import (
    BagState,
    examine_document,
    job_document,
    number,
    print_sizes_document,
    record_document,
    scan_document,
    to_json,
    verify_document,
)

DOUBLED = Finding("seam", "doubling", Level.FAULT, Needs.ARTWORK, "doubling 6.2 px; at most 2 px allowed", "Flat.")
MISSING = Finding("job", "missing", Level.FAULT, Needs.ARTWORK, "part R never came", "Scan it")


def measured(*readings: Reading) -> Measured:
    crop = Crop(Box(10, 20, 300, 400), 0.25, Box(20, 30, 280, 380))
    return Measured("ab" * 32, 123456, 1000, 800, 3, 16, 600.0, 600.0, "none", "Adobe", "", readings, crop)


def seam_reading() -> Reading:
    profile = (SeamSample(10.0, 1.5, None, 0.9), SeamSample(20.0, math.nan, 0.2, 0.1))
    return Reading("seam", "doubling", 6.2, "px", 0.97, Where(299.0, 210.0, 2.0, 40.0, profile))


def view() -> JobView:
    scan = ScanRow(1, "ab" * 32, 123456, "SL-0412_L.tif", PartName("SL-0412", "L"), "bed-a", Place.REWORK, "/s/L.tif",
                   "2026-11-24T21:00:00Z", measured=measured(seam_reading()), findings=(DOUBLED,))  # fmt: skip
    row = JobRow("SL-0412", JobState.REWORK, 0, Outcome.REWORK, "", (DOUBLED, MISSING), "part R")
    return JobView(row, (scan,), None, (Decision("Wren", "accept", "agreed", "2026-11-25T07:00:00Z"),), Pile.SCAN_AGAIN)


def test_a_scan_has_exactly_the_keys_of_the_contract() -> None:
    entry = scan_document("a.tif", measured(seam_reading()), [DOUBLED], Outcome.REWORK)
    assert list(entry) == ["file", "sha256", "bytes", "width_px", "height_px", "outcome", "readings", "findings",
                           "crop", "error"]  # fmt: skip
    assert list(entry["readings"][0]) == ["check", "name", "value", "unit", "sure", "where"]
    assert list(entry["readings"][0]["where"]) == ["x_mm", "y_mm", "width_mm", "height_mm", "profile"]
    assert entry["readings"][0]["where"]["profile"] == [
        {"y_mm": 10.0, "px": 1.5, "mm": None, "sure": 0.9},
        {"y_mm": 20.0, "px": None, "mm": 0.2, "sure": 0.1},
    ]
    assert list(entry["findings"][0]) == ["check", "name", "level", "needs", "text", "advice"]
    assert entry["crop"] == {"x": 10, "y": 20, "width": 300, "height": 400, "skew_deg": 0.25}
    assert entry["outcome"] == "rework"
    assert entry["error"] is None


def test_a_damaged_file_has_empty_lists_and_null_numbers() -> None:
    entry = scan_document("a.tif", None, error="the file is cut off", sha256="cd" * 32)
    assert entry["readings"] == entry["findings"] == []
    assert [entry[k] for k in ("bytes", "width_px", "height_px", "crop")] == [None] * 4
    assert entry["outcome"] == "rework"
    assert entry["error"] == "the file is cut off"
    assert entry["sha256"] == "cd" * 32


def test_the_whole_document_is_json_without_nan() -> None:
    readings = (
        Reading("focus", "softest", math.nan, ""),
        Reading("seam", "step", float(np.float32(1.5)), "CIEDE2000"),
        Reading("travel", "rows", np.int64(3).item(), "count"),
        Reading("join", "relief", math.inf, ""),
    )
    text = to_json(examine_document("0.1", "fine-art", [scan_document("\x1b[2J\u202e.tif", measured(*readings))]))
    values = [r["value"] for r in json.loads(text)["scans"][0]["readings"]]
    assert values == [None, 1.5, 3, None]
    assert text.isascii()
    assert "\x1b" not in text
    assert json.loads(text)["scans"][0]["file"] == "\x1b[2J\u202e.tif"


@pytest.mark.parametrize(("given", "plain"), [(3, 3), (2.5, 2.5), (np.float64(1), 1.0), (-math.inf, None),
                                              (None, None), ("3", None), (True, None), (1.23456, 1.235)])  # fmt: skip
def test_numbers_are_plain(given: object, plain: float | None) -> None:
    found = number(given, 3)
    assert found == plain
    assert type(found) in (int, float, type(None))


def test_a_record_has_exactly_the_keys_and_says_a_finding_once() -> None:
    record = record_document(view(), "0.1", "fine-art")
    assert list(record) == ["dawnproof", "job", "version", "outcome", "kind", "book", "parts", "findings", "join",
                            "crop", "print_sizes", "decisions"]  # fmt: skip
    assert list(record["parts"][0]) == ["part", "take", "role", "file", "sha256", "bytes", "bed", "admitted_utc",
                                        "readings", "findings"]  # fmt: skip
    assert [f["name"] for f in record["parts"][0]["findings"]] == ["doubling"]
    assert [f["name"] for f in record["findings"]] == ["missing"]
    assert record["join"] is None
    assert record["decisions"] == [
        {"who": "Wren", "what": "accept", "because": "agreed", "when_utc": "2026-11-25T07:00:00Z"}
    ]


def test_a_job_is_its_record_and_how_it_stands() -> None:
    moves = [MoveRow("ab" * 32, "/s/inbox/L.tif", "/s/rework/SL-0412/L.tif", "2026-11-24T22:00:00Z")]
    document = job_document(view(), moves, "0.1", "fine-art")
    assert document["state"] == "rework"
    assert document["pile"] == "scan again"
    assert document["waits_for"] == "part R"
    assert document["moves"][0] == {
        "sha256": "ab" * 32,
        "from": "/s/inbox/L.tif",
        "to": "/s/rework/SL-0412/L.tif",
        "when_utc": "2026-11-24T22:00:00Z",
    }
    assert to_json(document)


def test_verify_names_what_is_wrong() -> None:
    document = verify_document([BagState("SL-0401", 1), BagState("SL-0402", 2, changed=("data/SL-0402.tif",))])
    assert [bag["ok"] for bag in document["bags"]] == [True, False]
    assert document["bags"][1] == {"job": "SL-0402", "version": 2, "ok": False, "changed": ["data/SL-0402.tif"],
                                   "missing": [], "extra": [], "unreadable": []}  # fmt: skip


def test_print_sizes_of_a_known_master() -> None:
    # 7200 x 3600 px at 360 ppi is 20 x 10 inches: 508 x 254 mm
    document = print_sizes_document(largest_prints(7200, 3600), ordered_print(7200, 3600, 1016.0))
    assert document["largest"][0] == {"ppi": 360, "width_mm": 508.0, "height_mm": 254.0}
    assert document["ordered"] == {"long_mm": 1016.0, "short_mm": 508.0, "effective_ppi": 180.0}
