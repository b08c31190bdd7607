"""Two studios of one house file into one archive: real daemons, at the same time, with works of the same number."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import bagit
from faults import evening

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import Outcome
from dawnproof.pipeline.steps import STAGING, clear_leftovers
from dawnproof.storage.names import NAMES, mark_of
from dawnproof.storage.studio import Studio, open_studio

DAEMON = Path(__file__).parents[2] / "daemon"


def studio_at(root: Path, archive: Path) -> Studio:
    evening.studio_at(root, f'[folders]\narchive = "{archive}"\n')
    book = (root / "dawnproof.toml").read_text("utf-8").replace("[archive]\n", "[archive]\nshared = true\n")
    (root / "dawnproof.toml").write_text(book, "utf-8")
    return open_studio(root)


def watch(studio: Studio) -> subprocess.Popen[str]:
    words = [sys.executable, "-m", "dawnproof", "watch", str(studio.root), "--until-idle", "--plain"]
    environment = os.environ | {"PYTHONPATH": str(DAEMON)}
    return subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=environment)


def check_homes(studio: Studio, entered: Counter[str]) -> None:
    rows = evening.homes(studio)
    assert Counter(r.sha256 for r in rows) == entered
    for row in rows:
        assert evening.digest_of(Path(row.home)) == row.sha256


def outcomes(studio: Studio) -> dict[str, Outcome]:
    ledger = Ledger.read(studio.ledger_path)
    try:
        return {j.job: j.outcome for j in ledger.jobs() if j.outcome}
    finally:
        ledger.close()


def test_a_number_is_one_studios_and_nothing_is_lost(tmp_path: Path) -> None:
    studios = [studio_at(tmp_path / name, tmp_path / "archive") for name in ("prints", "annex")]
    entered = []
    for number, studio in enumerate(studios):
        jobs = ("SL-0401", "SL-0402", f"SL-041{number}")
        entered.append(Counter(evening.scan(studio.inbox / f"{job}_whole.tif", 30 + 10 * number + i)
                               for i, job in enumerate(jobs)))  # fmt: skip
    running = [watch(studio) for studio in studios]
    said = [daemon.communicate(timeout=200)[0] for daemon in running]
    assert [daemon.returncode for daemon in running] == [0, 0]
    found = [outcomes(studio) for studio in studios]
    for job in ("SL-0401", "SL-0402"):
        assert sorted(str(o[job].value) for o in found) == ["archive", "rework"], job
    for number in (0, 1):
        assert found[number][f"SL-041{number}"] is Outcome.ARCHIVE
        check_homes(studios[number], entered[number])
        refused = [job for job, outcome in found[number].items() if outcome is Outcome.REWORK]
        for job in refused:
            other = studios[1 - number]
            assert f"belongs to another studio in this archive: {other.root}" in said[number], said[number]
            assert job in said[number]
    bags = [p for p in (tmp_path / "archive").iterdir() if not p.name.startswith((".", "_"))]
    assert {p.name for p in bags} == {"SL-0401", "SL-0402", "SL-0410", "SL-0411"}
    for bag in bags:
        bagit.Bag(str(bag)).validate()
    assert [p.name for p in (tmp_path / "archive").iterdir() if p.name.startswith(".")] == [NAMES]


def test_what_is_left_of_one_studio_is_never_cleared_by_the_other(tmp_path: Path) -> None:
    """A staging may hold the only copy of the other's scans."""
    prints, annex = (studio_at(tmp_path / name, tmp_path / "archive") for name in ("prints", "annex"))
    for studio in (prints, annex):
        scan = studio.archive / f"{STAGING}{mark_of(studio)}SL-0401" / "data" / "parts" / "SL-0401_whole.tif"
        scan.parent.mkdir(parents=True)
        scan.write_bytes(b"a scan of " + studio.root.name.encode())
    ledger = Ledger.open(prints.ledger_path)
    try:
        clear_leftovers(prints, ledger, ())
    finally:
        ledger.close()
    left = [p.name for p in prints.archive.iterdir() if p.name.startswith(STAGING)]
    assert left == [f"{STAGING}{mark_of(annex)}SL-0401"]
