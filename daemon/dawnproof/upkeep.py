"""Verify and fixity: the archive read again and held against its manifests and the ledger. Nothing is repaired."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

from .errors import MoveError, UsageError
from .ledger.ledger import Ledger
from .model import FixityRow, Place, ScanRow
from .naming import job_key
from .report.documents import BagState
from .storage.bag import verify
from .storage.disk import digest
from .storage.names import is_own
from .storage.studio import REFERENCE, Studio

VERSION = re.compile(r"(?P<job>.+?)(?:\.v(?P<version>\d+))?")


def verify_archive(studio: Studio, jobs: Sequence[str], progress: Callable[[int], None]) -> tuple[BagState, ...]:
    """Every bag of the archive, or those of these jobs. A job without a bag is a UsageError; a bag the ledger knows
    and the disk does not have is reported as missing whole."""
    ledger = Ledger.read(studio.ledger_path) if studio.ledger_path.is_file() else None
    try:
        rows = ledger.scans_at(Place.ARCHIVE) if ledger else ()
        bags = bags_of(studio)
        wanted = {job_key(j) for j in jobs}
        known = {job_key(_job_of(b)) for b in bags} | {job_key(r.name.job) for r in rows if r.name}
        for job in jobs:
            if job_key(job) not in known:
                raise UsageError(f"the archive has no bag of {job}")
        states = [_state(b, rows, progress) for b in bags if not wanted or job_key(_job_of(b)) in wanted]
        lost = [r for r in rows if r.name and not Path(r.home).exists() and not _bag_of(r, studio).is_dir()]
        for row in lost:
            if row.name and (not wanted or job_key(row.name.job) in wanted):
                states.append(BagState(row.name.job, _version_of(_bag_of(row, studio)), missing=(row.home,)))
        return tuple(states)
    finally:
        if ledger:
            ledger.close()


def bags_of(studio: Studio) -> tuple[Path, ...]:
    """The studio's bags in the archive by name; stagings, references and another studio's bags are none."""
    if not studio.archive.is_dir():
        return ()
    return tuple(
        sorted(
            p
            for p in studio.archive.iterdir()
            if p.is_dir() and p.name != REFERENCE and not p.name.startswith(".") and is_own(studio, _job_of(p))
        )
    )


def bags_of_job(studio: Studio, job: str) -> tuple[Path, ...]:
    """The bags of one job, oldest version first."""
    found = [bag for bag in bags_of(studio) if _job_of(bag) == job]
    return tuple(sorted(found, key=_version_of))


def fixity_share(studio: Studio, ledger: Ledger, now_utc: str,
                 progress: Callable[[int], None] = lambda octets: None) -> tuple[FixityRow, ...]:  # fmt: skip
    """Read again the bags that were not read for the longest time, up to tonight's share of the archive. `progress` is
    told the octets of every block read, and may raise BrokenOff; the bags read until then are entered."""
    bags = bags_of(studio)
    last = {row.bag: row.when_utc for row in ledger.fixity()}
    count = max(1, round(len(bags) * studio.book.fixity.share_percent / 100)) if bags else 0
    found = []
    for bag in sorted(bags, key=lambda b: last.get(b.name, ""))[:count]:
        state = _state(bag, _scans_in(bag, ledger), progress)
        text = "as filed" if state.ok else _worded(state)
        row = FixityRow(now_utc, bag.name, state.ok, text)
        ledger.say_fixity(row)
        found.append(row)
    return tuple(found)


def _state(bag: Path, rows: Sequence[ScanRow], progress: Callable[[int], None]) -> BagState:
    check = verify(bag, progress)
    changed, missing = list(check.changed), list(check.missing)
    for row in rows:
        home = Path(row.home)
        if not home.is_relative_to(bag):
            continue
        path = home.relative_to(bag).as_posix()
        if not home.exists():
            missing += [] if path in missing else [path]
        elif path not in changed and path not in check.unreadable and _other_bytes(home, row, bag):
            changed.append(path)
    unreadable = (*check.unreadable, check.problem) if check.problem else check.unreadable
    return BagState(_job_of(bag), _version_of(bag), tuple(changed), tuple(missing), check.extra, unreadable)


def _scans_in(bag: Path, ledger: Ledger) -> list[ScanRow]:
    return [r for r in ledger.scans_of(_job_of(bag)) if r.place is Place.ARCHIVE]


def _other_bytes(home: Path, row: ScanRow, bag: Path) -> bool:
    """Whether manifest and file agree with each other but not with the ledger."""
    try:
        manifest = (bag / "manifest-sha256.txt").read_text("utf-8", "replace")
        return f"{row.sha256}  {home.relative_to(bag).as_posix()}" not in manifest and digest(home).sha256 != row.sha256
    except (OSError, MoveError):
        return False


def _worded(state: BagState) -> str:
    said = [f"{len(paths)} {what}" for what, paths in (("changed", state.changed), ("missing", state.missing),
            ("extra", state.extra), ("unreadable", state.unreadable)) if paths]  # fmt: skip
    return ", ".join(said)


def _bag_of(row: ScanRow, studio: Studio) -> Path:
    parts = Path(row.home).relative_to(studio.archive).parts if Path(row.home).is_relative_to(studio.archive) else ("",)
    return studio.archive / parts[0]


def _job_of(bag: Path) -> str:
    match = VERSION.fullmatch(bag.name)
    return match["job"] if match else bag.name


def _version_of(bag: Path) -> int:
    match = VERSION.fullmatch(bag.name)
    return int(match["version"]) if match and match["version"] else 1
