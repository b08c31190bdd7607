"""All that a report needs of a studio between two moments, gathered from ledger and disks."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from ..jobs import standing
from ..ledger.ledger import Ledger
from ..model import (
    JobRow,
    JobState,
    JobView,
    Level,
    ListedJob,
    Night,
    Outcome,
    Pile,
    Place,
    Progress,
    ScanRow,
    Space,
)
from ..naming import job_key
from ..policy import pile_of
from ..storage.studio import Studio
from .asked import asked_of, with_what_is_asked
from .marks import recurring_marks
from .references import beds_without_reference, is_reference

MOST_EVENTS = 500
LEAST_RATE_H = 1.0  # one burst of scans is not the rate of a night


def gather_night(studio: Studio, ledger: Ledger, since: datetime, until: datetime,
                 progress: Sequence[Progress] = (), alarms: Sequence[str] = (),
                 disks: bool = True) -> Night:  # fmt: skip
    """The night between two UTC moments. Jobs that had their outcome before are left out, those still open are not.
    Without `disks`, for a screen that must not hang with one of them, pictures and free space are left out."""
    listed, problems = studio.job_list()
    since_utc = since.isoformat()
    tonight = ledger.scans_since(since_utc)
    rows = ledger.jobs_since(since_utc)
    there = _there if disks else _not_looked_at
    views = tuple(view_of(studio, ledger, row, ledger.scans_of(row.job), listed, there) for row in rows)
    if disks:
        views = with_what_is_asked(views, studio.book)
    ever = {job_key(job) for job in ledger.job_numbers()}
    offset = until.astimezone().utcoffset() or timedelta()
    return Night(
        studio=studio.root.name, since_utc=since_utc, until_utc=until.isoformat(), offset_s=int(offset.total_seconds()),
        beds=studio.book.beds, jobs=views,
        expected_not_seen=tuple(job for key, job in listed.items() if key not in ever),
        arriving=ledger.arriving(), staying=ledger.staying(),
        unplaced=tuple(s for s in tonight if s.place is Place.UNPLACED),
        references=tuple(s for s in tonight if s.place is Place.REFERENCE),
        events=ledger.events(since_utc, MOST_EVENTS), runs=ledger.runs(since_utc), fixity=ledger.fixity(since_utc),
        space=_space(studio, tonight, until) if disks else (), marks=recurring_marks(tonight, studio.book.beds),
        without_reference=beds_without_reference(_of_the_day(ledger, tonight)),
        progress=tuple(progress), alarms=tuple(alarms), job_list_problems=problems,
        second=str(studio.second) if studio.second else "",
        mails=ledger.unsent_mails(since_utc) if studio.book.mail.host else (),
        root=str(studio.root), asked=asked_of(studio.book, None),
    )  # fmt: skip


def _of_the_day(ledger: Ledger, tonight: Sequence[ScanRow]) -> Sequence[ScanRow]:
    """Tonight's scans and those of the day before them: a reference may have come before the night began."""
    if not tonight:
        return ()
    begun = datetime.fromisoformat(tonight[0].admitted_utc) - timedelta(days=1)
    known = {row.id for row in tonight}
    return (*(r for r in ledger.scans_since(begun.isoformat()) if r.id in known or is_reference(r)),)


def view_of(studio: Studio, ledger: Ledger, row: JobRow, scans: Sequence[ScanRow],
            job_list: Mapping[str, ListedJob], there: Callable[[Path], str] | None = None) -> JobView:  # fmt: skip
    """One job with everything known of it; scans in the order they came, closed ones too."""
    scans = [s for s in scans if s.place is not Place.UNPLACED]
    listed = job_list.get(job_key(row.job))
    now = standing(scans, listed)
    counting = {s.id for s in (*now.used, *now.strangers)}
    findings = (*row.findings, *(f for s in scans if s.id in counting for f in s.findings))
    pile: Pile | None = None
    if row.outcome is not None:
        hold = bool(listed and listed.hold) and not row.released
        looked = row.released or row.accepted  # a person decided; a missing second copy is no matter of opinion
        still_open = [f for f in findings if not (looked and f.level is Level.UNDECIDED)]
        pile = pile_of(row.outcome, still_open, hold, bool(studio.second) and row.second_missing)
    if row.state in {JobState.WAITING, JobState.UNFINISHED}:
        pile = Pile.UNFINISHED
    folder = _folder(studio, row)
    pictures = studio.bench / "pictures" / row.job if row.outcome is Outcome.REWORK else studio.proof / row.job
    return JobView(
        row, tuple(scans), listed, ledger.decisions_of(row.job), pile, (there or _there)(pictures / "proof.jpg"),
        (there or _there)(pictures / "details.jpg"), str(folder) if folder else "", now.missing,
    )  # fmt: skip


def _folder(studio: Studio, row: JobRow) -> Path | None:
    if row.outcome is Outcome.REWORK:
        return studio.rework / row.job
    if row.outcome is Outcome.ARCHIVE:
        return studio.archive / (row.job if row.version <= 1 else f"{row.job}.v{row.version}")
    return None


def _there(path: Path) -> str:
    return str(path) if path.is_file() else ""


def _not_looked_at(path: Path) -> str:
    return ""


def _space(studio: Studio, tonight: Sequence[ScanRow], until: datetime) -> tuple[Space, ...]:
    hours = 0.0
    if tonight:
        hours = max((until - datetime.fromisoformat(tonight[0].admitted_utc)).total_seconds() / 3600, LEAST_RATE_H)
    rate = 2 * sum(s.size_bytes for s in tonight) / hours if hours else 0.0
    found, seen = [], set()
    for folder in (studio.archive, studio.rework, studio.second):
        if folder is None or not folder.is_dir():
            continue
        device = folder.stat().st_dev
        if device in seen:
            continue
        seen.add(device)
        free = shutil.disk_usage(folder).free
        found.append(Space(str(folder), free, round(free / rate, 1) if rate else None))
    return tuple(found)
