"""Parts of one work from different beds: allowed, unless they differ in what a join cannot mend."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from faults import evening
from small_studio import halves, write

from dawnproof.jobs import beds_differ
from dawnproof.ledger.ledger import Ledger
from dawnproof.model import Measured, Needs, Outcome, PartName, Place, ScanRow

LIKE = Measured("", 1, 10, 10, 3, 16, 400.0, 400.0, "none", "eciRGB v2", "icc-1", (), None)


def part(label: str, bed: str, measured: Measured = LIKE, light: str = "") -> ScanRow:
    name = PartName("SL-0401", label, light=light)
    return ScanRow(0, label, 1, f"SL-0401_{label}.tif", name, bed, Place.INBOX, f"/{label}", "", measured=measured)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"icc_sha256": "icc-2", "profile": "Adobe RGB"}, "profile Adobe RGB"),
        ({"icc_sha256": "", "profile": ""}, "profile none"),
        ({"ppi_x": 300.0, "ppi_y": 300.0}, "300 ppi"),
        ({"depth_bits": 8}, "8 bits"),
        ({"channels": 1}, "1 channels"),
    ],
)
def test_beds_that_are_set_differently_contradict(change: dict[str, object], said: str) -> None:
    rows = [part("L", "bed-a"), part("R", "bed-b", replace(LIKE, **change))]  # type: ignore[arg-type]
    assert said in beds_differ(rows)
    assert "part L from bed-a" in beds_differ(rows)
    one_bed = [replace(row, bed="bed-a") for row in rows]
    assert beds_differ(one_bed) == "", "on one bed the join itself says what does not fit"


def test_beds_alike_may_share_a_work() -> None:
    assert beds_differ([part("L", "bed-a"), part("R", "bed-b", replace(LIKE, ppi_x=400.02))]) == ""
    lights = [part("L", "bed-a", light="raking"), part("L", "bed-b", replace(LIKE, ppi_x=300.0), light="even")]
    assert beds_differ(lights) == "", "parts in different lights are never joined"
    assert beds_differ([]) == ""


def test_a_job_from_two_beds_is_joined_and_one_that_contradicts_goes_to_rework(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "prints")
    for job, seed, right_ppi in (("SL-0401", 3, 400.0), ("SL-0402", 4, 500.0)):
        left, right = halves(seed)
        write(studio.inbox / "bed-a" / f"{job}_L.tif", left)
        write(studio.inbox / "bed-b" / f"{job}_R.tif", right, ppi=right_ppi)
    evening.run_until_idle(studio.root)
    ledger = Ledger.read(studio.ledger_path)
    try:
        good, bad = ledger.job("SL-0401"), ledger.job("SL-0402")
    finally:
        ledger.close()
    assert good is not None
    assert good.outcome is Outcome.ARCHIVE
    assert bad is not None
    assert bad.outcome is Outcome.REWORK
    (finding,) = [f for f in bad.findings if (f.check, f.name) == ("job", "contradiction")]
    assert "part L from bed-a has 400 ppi" in finding.text
    assert "part R from bed-b has 500 ppi" in finding.text
    assert finding.needs is Needs.ARTWORK
