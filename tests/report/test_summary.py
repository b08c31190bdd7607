import json

from report.nights import HOSTILE, empty_night, evening, good_night, hostile_night, saltmarsh_lane

from dawnproof.report.documents import to_json
from dawnproof.report.morning_text import summary_text
from dawnproof.report.summary import summary_document

KEYS = ["since", "until", "ran", "expected_not_seen", "may_go_back", "look_first", "scan_again", "desk", "unfinished",
        "unplaced", "marks", "fixity", "space"]  # fmt: skip


def test_exactly_the_keys_of_the_contract() -> None:
    for night in (saltmarsh_lane(), good_night(), empty_night(), evening(), hostile_night()):
        document = summary_document(night)
        assert list(document) == KEYS
        assert json.loads(to_json(document)) == document
    assert [list(entry) for entry in summary_document(saltmarsh_lane())["unplaced"]] == [
        ["file", "sha256", "reason"]
    ] * 3


def test_every_job_in_its_pile_due_first() -> None:
    document = summary_document(saltmarsh_lane())
    piles = {key: [entry["job"] for entry in document[key]] for key in KEYS[4:9]}
    assert piles == {
        "may_go_back": ["SL-0401", "SL-0402", "SL-C403", "SL-C414"],
        "look_first": ["SL-C404", "SL-0416", "SL-0417"],
        "scan_again": ["SL-C405", "SL-0406", "SL-0409"],
        "desk": ["SL-0410", "SL-0415"],
        "unfinished": ["SL-0411"],
    }
    assert [job["job"] for job in document["expected_not_seen"]] == ["SL-0420", "SL-0421"]


def test_a_job_to_scan_again_carries_its_fault() -> None:
    entry = summary_document(saltmarsh_lane())["scan_again"][0]
    assert entry["due"] == "2026-11-25"
    assert entry["takes"] == {"whole": 2}
    first = entry["findings"][0]
    assert (first["check"], first["name"], first["level"], first["needs"]) == ("seam", "doubling", "fault", "artwork")
    assert first["part"] == "whole"
    assert first["take"] == 2
    assert first["brief"] == "doubling 6 px at 210 mm"
    assert first["where"]["x_mm"] == 297.0
    assert "Cautions:" in first["advice"]


def test_the_run_and_its_gap() -> None:
    ran = summary_document(saltmarsh_lane())["ran"]
    assert ran["all_night"] is False
    assert ran["gaps"][0]["cut_off"] is True
    assert summary_document(good_night())["ran"]["all_night"] is True


def test_raw_names_stay_raw_in_the_document_and_harmless_in_its_text() -> None:
    text = to_json(summary_document(hostile_night()))
    assert text.isascii()
    assert "\x1b" not in text
    assert HOSTILE in [entry["file"] for entry in json.loads(text)["unplaced"]]


def test_text_and_document_speak_of_the_same_things() -> None:
    text, document = summary_text(saltmarsh_lane()), summary_document(saltmarsh_lane())
    for key in KEYS[3:9]:
        assert all(entry["job"] in text for entry in document[key])
    assert all(entry["file"] in text for entry in document["unplaced"])
