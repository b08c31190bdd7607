"""White references: what changed since the bed's last one, and the beds that worked without one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small_studio import dawnproof, make_studio, night, work, write

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import Level, Measured, PartName, Place, Reading, Role, ScanRow
from dawnproof.pipeline.references import beds_without_reference, reference_findings
from dawnproof.rulebook import load_book

FINE_ART = load_book("fine-art")


def scan(
    number: int, role: Role, when: str, bed: str = "bed-a", levels: tuple[float, float, float] = (85, 84, 83)
) -> ScanRow:
    sha = f"{number:064x}"
    readings = tuple(
        Reading("light", f"level_{name}", float(level), "%")
        for name, level in zip(("red", "green", "blue"), levels, strict=True)
        if role is Role.REF
    )
    measured = Measured(sha, 10, 300, 400, 3, 16, 400.0, 400.0, "none", "", "", readings, None)
    name = PartName("SL-0412", "whole" if role is Role.WORK else role.value, role)
    return ScanRow(number, sha, 10, "a.tif", name, bed, Place.REFERENCE, f"/a/{number}.tif", when, "", measured, ())


@pytest.mark.parametrize(
    ("percent", "level"),
    [(0.0, Level.SOUND), (0.99, Level.SOUND), (-1.01, Level.NOTE), (1.99, Level.NOTE), (-2.01, Level.FAULT)],
)
def test_the_light_against_the_last_reference_of_the_bed(percent: float, level: Level) -> None:
    earlier = [
        scan(1, Role.REF, "2026-11-22T08:00:00+00:00", levels=(50, 50, 50)),
        scan(2, Role.REF, "2026-11-23T08:00:00+00:00"),
        scan(3, Role.REF, "2026-11-24T07:00:00+00:00", bed="bed-b", levels=(40, 40, 40)),
        scan(4, Role.TARGET, "2026-11-24T07:30:00+00:00"),
    ]
    now = scan(5, Role.REF, "2026-11-24T08:00:00+00:00", levels=(85.0, 84.0 * (1 + percent / 100), 83.0))
    (found,) = reference_findings(now, earlier, FINE_ART)
    assert (found.check, found.name, found.level) == ("light", "change", level)
    if percent:
        assert "green, since the reference of 2026-11-23" in found.text or level is Level.SOUND


def test_the_first_reference_has_nothing_to_be_compared_with() -> None:
    first = scan(1, Role.REF, "2026-11-24T08:00:00+00:00")
    assert reference_findings(first, [first], FINE_ART) == ()
    assert reference_findings(scan(2, Role.WORK, "2026-11-24T09:00:00+00:00"), [first], FINE_ART) == ()


def test_a_bed_without_a_reference_before_the_first_work_of_its_day() -> None:
    morning, noon, evening = ("2026-11-24T09:00:00+00:00", "2026-11-24T12:00:00+00:00", "2026-11-24T18:00:00+00:00")
    work_a, work_b = scan(2, Role.WORK, noon), scan(3, Role.WORK, noon, bed="bed-b")
    assert beds_without_reference([scan(1, Role.REF, morning), work_a, work_b]) == ("bed-b",)
    assert beds_without_reference([work_a, scan(4, Role.REF, evening)]) == ("bed-a",)
    assert beds_without_reference([scan(1, Role.REF, morning)]) == ()
    yesterday = replace(scan(1, Role.REF, "2026-11-23T09:00:00+00:00"))
    assert beds_without_reference([yesterday, work_a]) == ("bed-a",)


def test_a_reference_that_is_measured_beside_the_first_work_counts() -> None:
    """Both lie in the inbox; the smaller file is entered first, whichever came first."""
    work_a = scan(2, Role.WORK, "2026-11-24T09:00:00+00:00")
    beside, later = (scan(n, Role.REF, f"2026-11-24T09:{minute}:00+00:00") for n, minute in ((3, "03"), (4, "20")))
    assert beds_without_reference([work_a, beside]) == ()
    assert beds_without_reference([work_a, later]) == ("bed-a",)


def test_two_nights_with_a_lamp_that_fades(tmp_path: Path) -> None:
    """Through the daemon: kept by bed in the ledger, told in the summary, no job to blame."""
    studio = make_studio(tmp_path / "prints")
    rng = np.random.default_rng(3)
    for number, light in ((1, 0.9), (2, 0.9 * 0.97)):
        coded = 1.055 * light ** (1 / 2.4) - 0.055  # IEC 61966-2-1, as the profile in the file says
        sheet = coded + rng.normal(0, 0.002, (300, 400, 3))
        write(studio / "inbox" / f"SL-000{number}_ref.tif", np.rint(sheet * 65535).astype(np.uint16))
        if number == 2:
            write(studio / "inbox" / "bed-b" / "SL-0412_whole.tif", work(4))
        night(studio)
    first, second = Ledger.open(studio / ".dawnproof" / "ledger.sqlite3").scans_at(Place.REFERENCE)
    assert not [f for f in first.findings if f.name == "change"]
    (change,) = [f for f in second.findings if f.name == "change"]
    assert change.level is Level.FAULT
    assert "change of the light -3.0 %" in change.text
    told = dawnproof("morning", studio).stdout
    assert "change of the light -3.0 %" in told
    assert told.count("bed-b: no reference today before the first work") == 1
    assert "bed-a: no reference" not in told
