"""The rehearsal against stand-ins for the daemon: an honest one passes, a blind and a loud one do not."""

import shutil
import threading
from dataclasses import dataclass, field
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from rich.console import Console

from dawnproof.model import Bed, Pile
from dawnproof.rehearsal.artworks import Medium
from dawnproof.rehearsal.bed import Flatbed, Mishap, Placement
from dawnproof.rehearsal.evening import Daemon, RehearsalResult, rehearse, stage
from dawnproof.rehearsal.outcome import Verdict
from dawnproof.rehearsal.profile import scanner_profile
from dawnproof.rehearsal.scenario import SOUND, Evening, Expected, ExpectedUnplaced, Shot, Work
from dawnproof.rehearsal.table import result_table, summary
from dawnproof.rehearsal.writer import Pace

SMALL = Flatbed(Bed("bed-t", 50.0, 40.0, (25.0,), 5.0, 0.5, "grey"), 400)
SHEET = Work("SL-0401", Medium.WATERCOLOUR, 22.0, 30.0, 1)
MISNAMED = Work("SL-0412", Medium.RED_GROUND, 22.0, 30.0, 2)
AT = Placement(8.0, 8.0)
CLIPPED = Expected("SL-0401", "another take", frozenset({Pile.SCAN_AGAIN}), ("clipping.region",), act=2)


def small_evening() -> Evening:
    """Three small scans in two acts."""
    shots = (
        Shot("SL-0401_whole.tif", SHEET, AT, SMALL),
        Shot("SL0412 left side final.tif", MISNAMED, AT, SMALL),
        Shot("SL-0401_whole_t2.tif", SHEET, AT, SMALL, Mishap(ppi=200), act=2),
    )
    unplaced = (ExpectedUnplaced("SL0412 left side final.tif", "name", ("SL-0412",)),)
    return Evening(shots, (Expected("SL-0401", "", SOUND), CLIPPED), unplaced, ("SL-0412",), None)


def write_tiff(path: Path, pixels: np.ndarray, *, ppi: float, icc: bytes) -> None:
    tifffile.imwrite(
        path, pixels, photometric="rgb", resolution=(ppi, ppi), resolutionunit="INCH", iccprofile=icc, metadata=None
    )


@dataclass
class StandIn:
    """Takes whatever was brought in and says what it was told to say, act by act."""

    studio: Path
    says: list[dict[str, Any]]
    loses: str = ""
    arrived: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(0))
    acts: int = 0
    bringing: list[int] = field(default_factory=lambda: [2, 1])

    def sleep(self, seconds: float) -> None:
        if seconds == Pace().file_s:
            self.arrived.release()

    def run(self) -> None:
        if self.acts < len(self.bringing):
            for _ in range(self.bringing[self.acts]):
                assert self.arrived.acquire(timeout=20)
            self.acts += 1
        home = self.studio / "rework"
        home.mkdir(exist_ok=True)
        for path in sorted((self.studio / "inbox").rglob("*.tif")):
            if path.name == self.loses:
                path.unlink()
            else:
                shutil.move(path, home / path.name)

    def read_job(self, _job: str) -> dict[str, Any]:
        return self.says[self.acts - 1]

    def read_morning(self) -> dict[str, Any]:
        key = self.says[-1]["pile"].replace(" ", "_")
        reason = "did you mean SL-0412_L?"
        unplaced = [{"file": "SL0412 left side final.tif", "sha256": "", "reason": reason}]
        return {key: ["SL-0401"], "unplaced": unplaced, "expected_not_seen": ["SL-0412"], "marks": []}


def play(tmp_path: Path, says: list[dict[str, Any]], loses: str = "") -> tuple[RehearsalResult, list[float]]:
    studio = tmp_path / "studio"
    stand_in = StandIn(studio, says, loses)
    shares: list[float] = []
    daemon = Daemon(stand_in.run, stand_in.read_job, stand_in.read_morning)
    result = rehearse(
        studio, daemon, write_tiff, lambda _text, share: shares.append(share), date(2027, 1, 14), small_evening(),
        stand_in.sleep,
    )  # fmt: skip
    assert [p.name for p in tmp_path.iterdir()] == ["studio"]
    return result, shares


SAYS_SOUND = {"pile": "may go back", "parts": [{"part": "whole", "take": 1, "findings": []}]}
SAYS_CLIPPED = {
    "pile": "scan again",
    "parts": [
        {
            "part": "whole",
            "take": 2,
            "findings": [
                {"check": "clipping", "name": "region", "level": "fault", "text": "clipped"},
                {"check": "focus", "name": "softest", "level": "note", "text": "soft"},
            ],
        }
    ],
}


def test_an_honest_daemon_passes(tmp_path: Path) -> None:
    result, shares = play(tmp_path, [SAYS_SOUND, SAYS_CLIPPED])
    assert result.is_good
    assert [row.verdict for row in result.rows] == [Verdict.SOUND] + [Verdict.FOUND] * 6
    assert [said.check for _, said in result.notes] == ["focus.softest"]
    assert (result.scans, result.count(Verdict.MISSED)) == (3, 0)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_a_blind_daemon_misses(tmp_path: Path) -> None:
    result, _ = play(tmp_path, [SAYS_SOUND, SAYS_SOUND])
    assert not result.is_good
    assert [row.about for row in result.rows if row.verdict is Verdict.MISSED] == ["SL-0401"]


def test_a_loud_daemon_claims_falsely(tmp_path: Path) -> None:
    result, _ = play(tmp_path, [SAYS_CLIPPED, SAYS_CLIPPED])
    assert [row.verdict for row in result.rows if row.verdict.is_failure] == [Verdict.FALSE]


def test_a_file_that_gets_lost_is_noticed(tmp_path: Path) -> None:
    result, _ = play(tmp_path, [SAYS_SOUND, SAYS_CLIPPED], loses="SL-0401_whole.tif")
    assert [row.about for row in result.rows if row.verdict.is_failure] == ["files"]


def test_the_table_shows_every_row(tmp_path: Path) -> None:
    result, _ = play(tmp_path, [SAYS_SOUND, SAYS_CLIPPED])
    console = Console(width=150, record=True, file=StringIO())
    console.print(result_table(result))
    text = console.export_text()
    for row in result.rows:
        assert row.about in text
    assert "6 found, 0 missed, 1 sound, 0 not judged, 0 false" in " ".join(summary(result).split())


def test_scans_carry_profile_resolution_and_16_bit(tmp_path: Path) -> None:
    staged = stage(small_evening(), tmp_path, write_tiff, lambda _text, _share: None)
    for shot, path in staged.items():
        with tifffile.TiffFile(path) as tiff:
            page = tiff.pages[0]
            assert isinstance(page, tifffile.TiffPage)
            assert page.dtype == np.uint16
            assert page.iccprofile == scanner_profile()
            assert page.get_resolution("INCH") == pytest.approx((shot.mishap.ppi or 400,) * 2)


def test_staging_twice_gives_the_same_bytes(tmp_path: Path) -> None:
    evening = small_evening()
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
    first, second = (stage(evening, tmp_path / name, write_tiff, lambda _text, _share: None) for name in ("a", "b"))
    for shot in evening.shots:
        assert first[shot].read_bytes() == second[shot].read_bytes()


def test_a_crash_of_the_daemon_amid_arrivals_is_passed_on_and_leaves_no_scratch(tmp_path: Path) -> None:
    begun, crashed = threading.Event(), threading.Event()

    def crash() -> None:
        assert begun.wait(timeout=20)
        crashed.set()
        raise RuntimeError("stopped")

    def sleep(_seconds: float) -> None:
        begun.set()
        assert crashed.wait(timeout=20)

    daemon = Daemon(crash, lambda _job: {}, dict)
    with pytest.raises(RuntimeError, match="stopped"):
        rehearse(
            tmp_path / "studio", daemon, write_tiff, lambda _text, _share: None, date(2027, 1, 14), small_evening(),
            sleep,
        )  # fmt: skip
    assert [p.name for p in tmp_path.iterdir()] == ["studio"]
