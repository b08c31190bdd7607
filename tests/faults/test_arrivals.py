"""Rows 16 to 21, 23 and 24 of the fault table: half files, replaced files, the same again, poison, names, clocks."""

from __future__ import annotations

import io
import os
import shutil
import socket
import sqlite3
import struct
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from faults import evening
from rich.console import Console
from small_studio import called

from dawnproof.ledger.ledger import Ledger
from dawnproof.model import Outcome, Place
from dawnproof.pipeline.morning import write_morning
from dawnproof.pipeline.night import gather_night
from dawnproof.report.dashboard import dashboard
from dawnproof.service import nights
from dawnproof.storage.studio import Studio
from dawnproof.upkeep import verify_archive
from dawnproof.workers.pool import Pool

CASES = Path(__file__).resolve().parents[3] / "shared" / "testdata" / "tiff_odd"


# 16: half files


@pytest.mark.parametrize("how", ["cut", "reserved"])
def test_a_half_file_is_admitted_once_when_it_is_whole(how: str, tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    whole = tmp_path / "whole.tif"
    digest = evening.scan(whole, 1)
    data, target = whole.read_bytes(), studio.inbox / "SL-0001_whole.tif"
    with evening.Living(studio.root) as daemon:
        with target.open("wb") as file:  # a writer that is killed half-way leaves just this behind
            file.write(data[: len(data) // 2])
            if how == "reserved":
                os.posix_fallocate(file.fileno(), 0, len(data))
        daemon.rest(2.0)
        assert evening.homes(studio) == ()
        with target.open("r+b") as file:
            file.write(data)
        daemon.until_filed("SL-0001")
    evening.check_census(studio, Counter([digest]))


def test_what_never_becomes_whole_is_set_aside_with_the_reason(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    evening.scan(studio.inbox / "SL-0001_L.tif", 1)
    os.truncate(studio.inbox / "SL-0001_L.tif", 100_000)
    entered = Counter([evening.digest_of(studio.inbox / "SL-0001_L.tif")])
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
    (row,) = evening.homes(studio)
    assert row.place is Place.UNPLACED
    assert "not whole" in row.reason
    assert "SL-0001_L.tif" in (studio.unplaced / "REASONS.txt").read_text()


def test_a_file_still_held_open_ends_the_evening_all_the_same(tmp_path: Path) -> None:
    """A program that never lets go: the file stays, named; idleness must end."""
    studio = evening.studio_at(tmp_path / "studio")
    evening.scan(studio.inbox / "SL-0001_whole.tif", 1)
    with (studio.inbox / "SL-0001_whole.tif").open("r+b"):
        heard = evening.run_until_idle(studio.root)
    if not heard.said("still has it open"):
        pytest.skip("no leases on this file system: nobody can be asked who holds a file")
    assert "still has it open" in (studio.unplaced / "REASONS.txt").read_text()
    evening.run_until_idle(studio.root)
    assert (studio.archive / "SL-0001").is_dir()
    assert "still has it open" not in (studio.unplaced / "REASONS.txt").read_text()


# 17: replaced meanwhile


@pytest.mark.parametrize("when", ["measuring", "filing"])
def test_replaced_while_it_is_looked_at(when: str, tmp_path: Path) -> None:
    """The old readings are thrown away, the new scan is looked at; the job is never filed with bytes it has not."""
    studio = evening.studio_at(tmp_path / "studio")
    place = studio.inbox / "SL-0001_whole.tif"
    evening.scan(place, 1)
    fresh: list[str] = []

    def replacing(what: str, subject: str) -> None:
        if what == when and not fresh:
            fresh.append(evening.scan(tmp_path / "new.tif", 2))
            (tmp_path / "new.tif").replace(place)

    heard = evening.run_until_idle(studio.root, evening.InlinePool(replacing))
    assert fresh
    evening.check_census(studio, Counter(fresh))
    assert (studio.archive / "SL-0001").is_dir(), heard.events
    if when == "filing":
        assert heard.said("overwritten in the inbox")


def test_one_part_taken_away_while_its_job_is_filed(tmp_path: Path) -> None:
    """What was staged goes back; the job is judged again with what is left."""
    studio = evening.studio_at(tmp_path / "studio")
    digests = {p: evening.scan(studio.inbox / f"SL-0412_{p}.tif", 1, p) for p in ("L", "R")}

    def taking(what: str, subject: str) -> None:
        if what == "joining" and (studio.inbox / "SL-0412_R.tif").exists():
            (studio.inbox / "SL-0412_R.tif").rename(tmp_path / "R.tif")

    memory, evening.InlinePool.memory = evening.InlinePool.memory, None
    try:
        heard = evening.run_until_idle(studio.root, evening.InlinePool(taking))
    finally:
        evening.InlinePool.memory = memory
    evening.check_census(studio, Counter([digests["L"]]))
    assert heard.said("SL-0412_R.tif was")
    (tmp_path / "R.tif").rename(studio.inbox / "SL-0412_R.tif")
    evening.run_until_idle(studio.root)
    evening.check_census(studio, Counter(digests.values()))


# 18, 19: the same again


def test_the_same_name_again_with_other_bytes(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    entered = Counter([evening.scan(studio.inbox / "SL-0001_whole.tif", 1)])
    evening.run_until_idle(studio.root)
    entered[evening.scan(studio.inbox / "SL-0001_whole.tif", 1, grain=1)] += 1
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
    takes = {r.name.take for r in evening.homes(studio) if r.name}
    assert takes == {1, 2}
    assert (studio.archive / "SL-0001.v2").is_dir()


def test_overwritten_before_its_job_had_an_outcome(tmp_path: Path) -> None:
    """The first scan is gone by the scan program's own hand; that is said, at once."""
    studio = evening.studio_at(tmp_path / "studio")
    with evening.Living(studio.root) as daemon:
        evening.scan(studio.inbox / "SL-0412_L.tif", 1, "L")
        daemon.until_said("SL-0412_L.tif: L measured")
        entered = Counter([evening.scan(studio.inbox / "SL-0412_L.tif", 2, "L")])
        daemon.until_said("was overwritten in the inbox")
        daemon.until(lambda: len(evening.homes(studio)) == 1, "the new one")
    evening.check_census(studio, entered)


def test_the_same_bytes_under_another_name(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    digest = evening.scan(studio.inbox / "SL-0001_whole.tif", 1)
    evening.run_until_idle(studio.root)
    kept = next((studio.archive / "SL-0001" / "data" / "parts").iterdir())
    shutil.copy(kept, studio.inbox / "SL-0002_whole.tif")
    evening.run_until_idle(studio.root)
    evening.check_census(studio, Counter({digest: 2}))
    assert "same bytes as SL-0001_whole.tif" in (studio.unplaced / "REASONS.txt").read_text()


# 20: poison


def write_tiff_header(path: Path, width: int, height: int, offset: int = 8, next_directory: int = 0) -> None:
    """A directory that declares an image whose pixels are not there."""
    tags = [(256, 4, 1, width), (257, 4, 1, height), (258, 3, 1, 16), (259, 3, 1, 1), (262, 3, 1, 1), (273, 4, 1, 8),
            (277, 3, 1, 1), (278, 4, 1, height), (279, 4, 1, 100)]  # fmt: skip
    body = b"".join(struct.pack("<HHII", *tag) for tag in tags)
    path.write_bytes(b"II*\0" + struct.pack("<I", offset) + struct.pack("<H", len(tags)) + body
                     + struct.pack("<I", next_directory) + bytes(200))  # fmt: skip


def test_poison_ends_in_its_place_and_the_next_scan_goes_on(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    write_tiff_header(studio.inbox / "SL-0900_whole.tif", 60_000, 60_000)
    write_tiff_header(studio.inbox / "SL-0901_whole.tif", 100, 100, next_directory=8)
    (studio.inbox / "SL-0902_whole.tif").write_bytes(b"P6 2 2 255\n" + bytes(12))
    (studio.inbox / "SL-0903_whole.tif").write_bytes(b"")
    (studio.inbox / "SL-0904_whole.tif").write_bytes(b"II*\0" + b"\xff" * 40)
    entered = Counter(evening.digest_of(p) for p in studio.inbox.glob("*.tif"))
    entered[evening.scan(studio.inbox / "SL-0001_whole.tif", 1)] += 1
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
    assert (studio.archive / "SL-0001").is_dir()
    for row in evening.homes(studio):
        assert row.place is Place.ARCHIVE or len(row.reason) > 20, f"{row.file} has a reason a person understands"


def test_odd_files_through_real_children(tmp_path: Path) -> None:
    """A fair handful of what was collected, measured in real children."""
    if not CASES.is_dir():
        pytest.skip(f"no collection of odd files at {CASES}")
    studio = evening.studio_at(tmp_path / "studio")
    chosen = sorted(p for p in CASES.rglob("*") if p.suffix.lower() in {".tif", ".tiff"})[::5]
    for number, path in enumerate(chosen):
        shutil.copy(path, studio.inbox / f"SL-{700 + number:04d}_whole.tif")
    entered = Counter(evening.digest_of(p) for p in studio.inbox.glob("*.tif"))
    evening.run_until_idle(studio.root, Pool(1, 4000, 60.0, 40))
    there = evening.everywhere(studio)
    assert all(there[d] >= n for d, n in entered.items())
    assert Counter(r.sha256 for r in evening.homes(studio)) == entered
    assert not list(studio.inbox.glob("*.tif"))


# 21: names

NAMES = [
    b"[bold red]SL-1[link=x].tif", b"\x1b[2J\x07bell.tif", b"two\nlines.tif",
    b"\xff\xfe not utf8.tif", b"n" * 251 + b".tif",
    "SL-0001\u202etif.exe.tif".encode(), b"x..%2f..%2fetc.tif", b"=cmd().tif", b"-rf.tif", b"a.tif", b"A.tif",
    b"REASONS.txt.tif", "\u00e9.tif".encode(), "e\u0301.tif".encode(), b"<script>.tif",
]  # fmt: skip


def test_names_are_shown_harmlessly_and_moved_as_they_are(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    entered: Counter[str] = Counter()
    for number, raw in enumerate(NAMES):
        plain = tmp_path / "plain.tif"
        entered[evening.scan(plain, 100 + number)] += 1
        plain.rename(studio.inbox / os.fsdecode(raw))
    heard = evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
    rows = evening.homes(studio)
    assert len(rows) == len(NAMES)
    assert all(Path(r.home).parent == studio.unplaced for r in rows)
    reasons = (studio.unplaced / "REASONS.txt").read_bytes()
    text = "".join(e.text for e in heard.events)
    for evil in ("\x1b", "\x07", "\u202e", "\udcff"):
        assert evil not in text
        assert evil.encode("utf-8", "surrogateescape") not in reasons
    folded = {os.fsencode(Path(r.home).name).lower() for r in rows}
    assert len(folded) == len(rows), "no two differ by case alone"
    for text in screens_of(studio):
        assert not [evil for evil in ("\x1b", "\x07", "\u202e", "\udcff", "<script>.tif\n") if evil in text]
        shown_name = "\\x1b[2J\\x07bell.tif"
        assert shown_name in text.replace("\\\\", "\\") or "bell.tif" not in text  # a document doubles its backslashes
    page = (studio.morning / "2026-11-25.html").read_text("utf-8")
    assert "&lt;script&gt;.tif" in page
    assert "<script>.tif" not in page
    with sqlite3.connect(studio.ledger_path) as db:
        assert {row[0] for row in db.execute("SELECT raw_name FROM scans")} == set(NAMES), "the raw bytes stay there"


def screens_of(studio: Studio) -> list[str]:
    """All that a person is shown of a night: dashboard, morning as text, page and document, the commands."""
    ledger = Ledger.open(studio.ledger_path)
    now = datetime(2026, 11, 25, 6, 0).astimezone()
    since = datetime(2020, 1, 1).astimezone()
    console = Console(record=True, width=140, file=io.StringIO(), force_terminal=True, color_system=None)
    console.print(dashboard(gather_night(studio, ledger, since.astimezone(UTC), datetime.now(UTC)), 140, 40))
    write_morning(studio, ledger, since, now, None)
    ledger.close()
    files = [path.read_text("utf-8") for path in sorted(studio.morning.glob("2026-11-25.*"))]
    assert len(files) == 3
    return [console.export_text(), *files, called("rules", "try", studio.root, *map(os.fsdecode, NAMES))[1]]


def test_links_pipes_and_sockets_stay_and_are_named(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    evening.scan(tmp_path / "elsewhere.tif", 1)
    (studio.inbox / "link_L.tif").symlink_to(tmp_path / "elsewhere.tif")
    os.link(tmp_path / "elsewhere.tif", studio.inbox / "hard_L.tif")
    os.mkfifo(studio.inbox / "pipe.tif")
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(os.path.relpath(studio.inbox / "socket.tif"))
        heard = evening.run_until_idle(studio.root)
    names = ("link_L.tif", "hard_L.tif", "pipe.tif", "socket.tif")
    reasons = (studio.unplaced / "REASONS.txt").read_text()
    ledger = Ledger.read(studio.ledger_path)
    staying = {row.file for row in ledger.staying()}
    ledger.close()
    for name in names:
        assert os.path.lexists(studio.inbox / name)
        assert name in reasons
        assert name in staying
        assert heard.said(f"{name} stays where it is")
    assert evening.homes(studio) == ()
    assert (tmp_path / "elsewhere.tif").exists()
    (studio.inbox / "pipe.tif").unlink()
    evening.run_until_idle(studio.root)
    assert "pipe.tif" not in (studio.unplaced / "REASONS.txt").read_text(), "gone, and no longer named"


# 23: clocks


@pytest.mark.parametrize("year", [1970, 2099])
def test_a_file_dated_wrongly_holds_nothing_up(year: int, tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    entered = Counter([evening.scan(studio.inbox / "SL-0412_L.tif", 1, "L")])
    stamp = datetime(year, 6, 1).timestamp()
    os.utime(studio.inbox / "SL-0412_L.tif", (stamp, stamp))
    with evening.Living(studio.root) as daemon:
        daemon.until_said("SL-0412_L.tif: L measured")
    entered[evening.scan(studio.inbox / "SL-0412_R.tif", 1, "R")] += 1
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)
    assert (studio.archive / "SL-0412").is_dir()


def test_a_clock_that_jumps(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The time of day goes back a year while files settle: settling is counted by another clock."""
    studio = evening.studio_at(tmp_path / "studio")
    entered = Counter(evening.scan(studio.inbox / f"SL-0412_{p}.tif", 1, p) for p in ("L", "R"))

    class Jumping(datetime):
        turns = 0

        @classmethod
        def now(cls, tz: Any = None) -> Any:
            cls.turns += 1
            return datetime.now(tz) - timedelta(days=365 if cls.turns % 2 else 0)

    monkeypatch.setattr("dawnproof.service.voice.datetime", Jumping)
    evening.run_until_idle(studio.root)
    monkeypatch.undo()
    evening.check_census(studio, entered)
    ledger = Ledger.read(studio.ledger_path)
    job = ledger.job("SL-0412")
    ledger.close()
    assert job is not None
    assert job.outcome is Outcome.ARCHIVE
    evening.run_until_idle(studio.root)
    evening.check_census(studio, entered)


# 24: bits that rot


def test_a_flipped_bit_is_found_in_the_night_and_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(nights, "QUIET_S", 0.3)
    studio = evening.studio_at(tmp_path / "studio", "[fixity]\nshare_percent = 100.0\n")
    evening.scan(studio.inbox / "SL-0001_whole.tif", 1)
    evening.scan(studio.inbox / "SL-0002_whole.tif", 2)
    evening.run_until_idle(studio.root)
    rotten = studio.archive / "SL-0001" / "data" / "parts" / "SL-0001_whole.tif"
    data = bytearray(rotten.read_bytes())
    data[-5] ^= 1
    rotten.write_bytes(data)
    night = datetime(2026, 11, 25, 2, 30).astimezone()
    with evening.Living(studio.root, local_time=lambda: night) as daemon:
        daemon.until_said("2 bag(s) of the archive read again")
        daemon.until(lambda: "SL-0001 no longer as filed" in daemon.alarms, "an alarm")
        daemon.rest(1.0)
        assert sum(e.kind == "fixity" for e in daemon.heard.events) == 1, "once a night"
    assert evening.digest_of(rotten) != evening.homes(studio)[0].sha256, "reported, never mended"
    (bad,) = [b for b in verify_archive(studio, ["SL-0001"], lambda octets: None) if not b.ok]
    assert bad.changed == ("data/parts/SL-0001_whole.tif",)


def test_the_summary_is_written_at_its_hour_once(tmp_path: Path) -> None:
    studio = evening.studio_at(tmp_path / "studio")
    evening.scan(studio.inbox / "SL-0001_whole.tif", 1)
    clock = [datetime(2026, 11, 25, 5, 59).astimezone()]
    with evening.Living(studio.root, local_time=lambda: clock[0]) as daemon:
        daemon.until_filed("SL-0001")
        daemon.rest(0.5)
        assert not list(studio.morning.iterdir())
        clock[0] = datetime(2026, 11, 25, studio.book.morning.hour, 0).astimezone()
        daemon.until_said("the morning summary is written")
        daemon.rest(1.0)
    assert (studio.morning / "2026-11-25.txt").is_file()
    assert sum(e.kind == "morning" for e in daemon.heard.events) == 1
