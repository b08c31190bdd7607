"""Takes held while a job waited, scanned in two sessions: what the real daemon joins, keeps and says."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest
from small_studio import Pixels, called, halves, make_studio, night, told, write

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import JobRow, JobState
from dawnproof.naming import compile_rule
from dawnproof.pipeline.intake import admit, arrived, ask_for
from dawnproof.storage.studio import make_folders, open_studio
from dawnproof.workers.measuring import measure_scan


def came_before(studio: Path, file: str, pixels: Pixels, hours: float) -> None:
    """A scan that has waited in the inbox for so long."""
    path = write(studio / "inbox" / file, pixels)
    opened = open_studio(studio)
    make_folders(opened)
    ledger = Ledger.open(opened.ledger_path)
    found = arrived(opened, ledger, compile_rule(opened.book.naming.pattern, opened.book.name), path, None, {})
    when = (datetime.now(UTC) - timedelta(hours=hours)).isoformat()
    digest = sha256(path.read_bytes()).hexdigest()
    admit(opened, ledger, found, measure_scan(ask_for(found, opened.book, None)), None, digest, when)
    ledger.put_job(JobRow("SL-0412", JobState.WAITING, first_utc=when, last_utc=when), when)
    ledger.close()


def other_noise(pixels: Pixels) -> Pixels:
    """The same part scanned once more."""
    noise = np.random.default_rng(5).normal(0, 90, pixels.shape)
    return np.clip(pixels + noise, 0, 65000).astype(np.uint16)


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    return make_studio(tmp_path / "prints")


def test_the_take_of_the_session_is_used_and_that_is_said_plainly(studio: Path) -> None:
    left, right = halves(51)
    came_before(studio, "SL-0412_L_t2.tif", other_noise(left), 11.0)
    write(studio / "inbox/SL-0412_L.tif", left)
    write(studio / "inbox/SL-0412_R.tif", right)
    night(studio)
    found = told("job", studio, "SL-0412")
    assert found["outcome"] == "archive"
    record = json.loads((studio / "archive/SL-0412/data/record.json").read_text(encoding="utf-8"))
    assert {(p["part"], p["take"]) for p in record["parts"]} == {("L", 1), ("R", 1)}
    assert "session" in {f["name"] for f in record["findings"]}
    assert [Path(p["file"]).name for p in found["join"]["parts"]] == ["SL-0412_L.tif", "SL-0412_R.tif"]
    [said] = [f for f in found["findings"] if f["name"] == "session"]
    assert said["level"] == "undecided"
    assert "part L is SL-0412_L.tif, not its higher take SL-0412_L_t2.tif" in said["text"]
    assert found["pile"] == "look first"
    assert (studio / "rework/_closed/SL-0412/SL-0412_L_t2.tif").is_file()
    summary = " ".join(called("morning", studio)[1].split())
    assert "not its higher take SL-0412_L_t2.tif" in summary


def test_a_faulty_lower_take_does_not_come_back(studio: Path) -> None:
    left, right = halves(52)
    came_before(studio, "SL-0412_L_t2.tif", other_noise(left), 11.0)
    write(studio / "inbox/SL-0412_L.tif", np.asarray(left // 257 * 257, np.uint16))  # 8 bits blown up to 16
    write(studio / "inbox/SL-0412_R.tif", right)
    night(studio)
    found = told("job", studio, "SL-0412")
    assert [Path(p["file"]).name for p in found["join"]["parts"]] == ["SL-0412_L_t2.tif", "SL-0412_R.tif"]
    assert "session" not in {f["name"] for f in found["findings"]}
    assert any(f["name"] == "hours_apart" and "11." in f["text"] for f in found["findings"])
