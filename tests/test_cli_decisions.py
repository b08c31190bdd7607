"""A person decides: accept, refuse, release, place, recheck, and what each leaves in archive, rework and ledger."""

from __future__ import annotations

import hashlib
import json
import signal
from pathlib import Path

import pytest
from small_studio import called, dawnproof, eight_bits, interrupted, make_studio, night, told, work, write

JOB_LIST = """\
job,width_mm,height_mm,medium,print_mm,due,hold,handling,up,parts
SL-0405,,,watercolour,,2026-11-30,with the owner,,,
"""


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = make_studio(tmp_path_factory.mktemp("decisions") / "prints", JOB_LIST)
    write(root / "inbox/SL-0401_whole.tif", work(1))
    write(root / "inbox/SL-0403_whole.tif", eight_bits(work(3)))
    write(root / "inbox/SL-0405_whole.tif", work(5))
    write(root / "inbox/scan17.tif", work(17))
    night(root)
    return root


def test_recheck_says_what_a_changed_rule_book_would_change_and_changes_nothing(studio: Path) -> None:
    code, text, _ = called("recheck", studio, "--dry-run")
    assert (code, text) == (0, "nothing would change\n")
    book = studio / "dawnproof.toml"
    before = book.read_text()
    book.write_text(before + "\n[limits.encoding]\ndepth_true = { note = 6.0, fault = 5.0, below = true }\n")
    try:
        code, text, _ = called("recheck", studio, "--dry-run")
    finally:
        book.write_text(before)
    assert code == 0
    assert "SL-0403: rework -> archive" in text
    assert (studio / "rework/SL-0403/SL-0403_whole.tif").is_file()


def test_release_lets_a_held_work_go(studio: Path) -> None:
    assert told("job", studio, "SL-0405")["pile"] == "look first"
    ran = dawnproof("release", studio, "SL-0405", "--by", "Noor")
    assert ran.returncode == 0, ran.stderr
    found = told("job", studio, "sl 0405")
    assert found["pile"] == "may go back"
    assert [(d["who"], d["what"]) for d in found["decisions"]] == [("Noor", "release")]
    assert set(found["decisions"][0]) == {"who", "what", "because", "when_utc"}


def test_an_accepted_job_moves_to_the_archive_with_the_decision_in_its_record(studio: Path) -> None:
    ran = dawnproof("accept", studio, "SL-0403", "--because", "8 bits will do for a postcard", "--by", "Wren")
    assert ran.returncode == 0, ran.stderr
    record = json.loads((studio / "archive/SL-0403/data/record.json").read_bytes())
    assert [(d["who"], d["what"], d["because"]) for d in record["decisions"]] == [
        ("Wren", "accept", "8 bits will do for a postcard")
    ]
    assert not (studio / "rework/SL-0403").exists()
    assert told("job", studio, "SL-0403")["pile"] == "may go back"
    assert "Wren" in called("morning", studio)[1]


def test_a_refused_job_is_to_be_scanned_again_and_its_bag_stays(studio: Path) -> None:
    bag = studio / "archive/SL-0401"
    before = {p: hashlib.sha256(p.read_bytes()).hexdigest() for p in bag.rglob("*") if p.is_file()}
    ran = dawnproof("refuse", studio, "SL-0401", "--because", "colours are off beside the original", "--by", "Noor")
    assert ran.returncode == 0, ran.stderr
    found = told("job", studio, "SL-0401")
    assert (found["outcome"], found["pile"]) == ("rework", "scan again")
    assert {p: hashlib.sha256(p.read_bytes()).hexdigest() for p in bag.rglob("*") if p.is_file()} == before
    assert "colours are off" in (studio / "rework/SL-0401/rescan-note.txt").read_text("utf-8")


def test_an_unplaced_file_is_given_its_name_and_judged_with_its_job(studio: Path) -> None:
    ran = dawnproof("place", studio, "scan17.tif", "--as", "SL-0417_whole.tif", "--by", "Noor")
    assert ran.returncode == 0, ran.stderr
    night(studio)
    assert (studio / "archive/SL-0417/data/parts/SL-0417_whole.tif").is_file()
    assert not (studio / "rework/_unplaced/scan17.tif").exists()


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["accept", "SL-0499", "--because", "x"], "no job SL-0499"),
        (["accept", "SL-0401"], "--because"),
        (["refuse", "SL-0401", "--because", " "], "--because"),
        (["job", "SL-04011"], "did you mean SL-0401"),
        (["recheck", "SL-0499"], "no job SL-0499"),
        (["verify", "SL-0499"], "no bag of SL-0499"),
        (["place", "nothing.tif", "--as", "SL-0401_L.tif"], "no unplaced file nothing.tif"),
        (["morning", "--since", "soonish"], "soonish"),
        (["morning", "--due", "soonish"], "soonish"),
        (["rules", "show", "--kind", "fresco"], "fresco"),
        (["rules", "try"], "Missing argument"),
        (["job", "a", "b", "c"], "too much"),
        (["new", "."], "is a studio already"),
    ],
)
def test_wrong_usage_is_2_and_named_on_stderr(
    studio: Path, words: list[str], named: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(studio)  # without a folder the current one is the studio
    code, out, err = called(*words)
    assert code == 2
    assert named in err
    assert out == ""


@pytest.mark.parametrize("words", [["watch", "--until-idle"], ["morning"], ["verify"], ["job"], ["recheck"],
                                   ["look"], ["ready"], ["rules", "show"]])  # fmt: skip
def test_a_folder_that_is_no_studio_is_2_with_the_mend(words: list[str], tmp_path: Path) -> None:
    more = ["SL-0401"] if words == ["job"] else []
    code, out, err = called(*words, tmp_path / "nowhere", *more)
    assert (code, out) == (2, "")
    assert "nowhere" in err
    assert "dawnproof new" in err


@pytest.mark.parametrize("since", ["8h", "30min", "2d", "yesterday", "today", "2026-11-24", "2026-11-24T18:00"])
def test_the_morning_begins_when_it_is_told_to(studio: Path, since: str) -> None:
    found = told("morning", studio, "--since", since)
    assert found["since"] < found["until"]


def test_a_new_studio_is_made_once_and_answers_at_once(tmp_path: Path) -> None:
    code, text, _ = called("new", tmp_path / "prints", "--book", "works-on-paper")
    assert code == 0
    assert "dawnproof watch" in text
    made = {p.name for p in (tmp_path / "prints").iterdir()}
    assert made >= {"dawnproof.toml", "jobs.csv", "inbox", "archive", "rework", "proof", "morning", ".dawnproof"}
    (tmp_path / "prints/jobs.csv").write_text("job,due\nSL-0499,2026-11-25\n")
    assert [e["job"] for e in told("morning", tmp_path / "prints")["expected_not_seen"]] == ["SL-0499"]
    assert told("verify", tmp_path / "prints") == {"bags": []}
    assert called("new", tmp_path / "prints")[0] == 2
    assert called("new", tmp_path / "more", "--book", "no-such-book")[0] == 2
    assert not (tmp_path / "more").exists()


def test_ready_is_1_with_a_problem(tmp_path: Path) -> None:
    called("new", tmp_path / "prints")
    (tmp_path / "prints/jobs.csv").write_text("job,width_mm\nSL-0499,wide\n")
    code, text, _ = called("ready", tmp_path / "prints")
    assert code == 1
    assert "PROBLEM  job list" in text


def test_names_are_explained_and_a_near_miss_is_proposed(studio: Path) -> None:
    code, text, _ = called("rules", "try", studio, "sl 0401 left (2).tif", "SL-0405_lef.tif")
    assert code == 0
    assert "job SL-0401, part L, take 1" in text
    assert "did you mean SL-0405_L" in text


def test_every_value_of_the_rule_book_is_shown_with_its_origin(studio: Path) -> None:
    lines = called("rules", "show", studio)[1].splitlines()
    assert any(line.startswith("intake.settle_s = 0.3") and "dawnproof.toml" in line for line in lines)
    assert any(line.startswith("jobs.wait_min = 45") and line.endswith("# fine-art") for line in lines)


def test_a_wrong_rule_book_names_book_key_and_the_nearest_key(tmp_path: Path) -> None:
    root = make_studio(tmp_path / "prints", more="\n[jobs]\nwait_minutes = 3\n")
    code, _, err = called("rules", "show", root)
    assert code == 2
    assert all(word in err for word in ("dawnproof.toml", "wait_minutes", "wait_min"))


def test_the_daemon_interrupted_ends_in_order_with_130(tmp_path: Path) -> None:
    root = make_studio(tmp_path / "prints")
    ran = interrupted(["watch", str(root), "--plain"], "begun")
    assert ran.returncode == 128 + signal.SIGINT, ran.stderr
    assert "stopped in order" in ran.stdout
