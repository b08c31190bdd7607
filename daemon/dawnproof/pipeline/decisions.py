"""What people decide of jobs and files: entered with name, reason and time, then carried out by the daemon's loop."""

from __future__ import annotations

import difflib
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from ..errors import UsageError
from ..jobs import standing
from ..ledger.ledger import Ledger
from ..model import (
    Decision,
    EventRow,
    Filing,
    FilingStep,
    Finding,
    JobRow,
    JobState,
    Level,
    Outcome,
    PartName,
    Place,
    ScanRow,
    StepKind,
    shown,
)
from ..naming import compile_rule, job_key, outer_sides, read_name
from ..policy import outcome_of
from ..storage.free_names import free_name
from ..storage.studio import Studio
from ..workers.asks import Ask
from ..workers.measuring import measure_scan
from .outcome import Case, job_findings, judged, listed_of

DONE = {"accept": "accepted", "refuse": "refused", "release": "released"}


def find_job(ledger: Ledger, job: str) -> JobRow:
    """A job by any spelling of its number. UsageError naming the nearest where there is none."""
    rows = ledger.jobs()
    for row in rows:
        if job_key(row.job) == job_key(job):
            return row
    near = difflib.get_close_matches(job_key(job), [job_key(r.job) for r in rows], 1)
    hint = f"; did you mean {next(r.job for r in rows if job_key(r.job) == near[0])}?" if near else ""
    raise UsageError(f"no job {shown(job)} in this studio{hint}")


def decide(studio: Studio, ledger: Ledger, job: str, what: str, because: str, who: str) -> str:
    """Enter a decision; what it changes is done by the loop, which looks for jobs in the state 'working'."""
    row = find_job(ledger, job)
    if not because.strip():
        raise UsageError("a decision needs its reason: --because TEXT")
    now = datetime.now(UTC).isoformat()
    with ledger.together():
        ledger.decide(row.job, Decision(who, what, because, now))
        ledger.put_job(_decided(row, what), now)
        ledger.say(EventRow(now, "decided", row.job, f"{row.job} {DONE[what]} by {who}: {because}"))
    return f"{row.job} {DONE[what]} by {who}"


def _decided(row: JobRow, what: str) -> JobRow:
    if what == "release":
        return replace(row, released=True)
    if what == "accept":
        done = row.outcome is Outcome.ARCHIVE and not row.refused
        return replace(row, accepted=True, refused=False, state=row.state if done else JobState.WORKING)
    again = row.outcome is Outcome.REWORK
    return replace(row, refused=True, accepted=False, released=False, state=row.state if again else JobState.WORKING)


def place_scan(studio: Studio, ledger: Ledger, file: str, name: str, who: str) -> str:
    """Give an unplaced scan its name: measured again as the part it is, moved back to the inbox under that name."""
    row = _unplaced(studio, ledger, file)
    rule = compile_rule(studio.book.naming.pattern, studio.book.name)
    listed, _ = studio.job_list()
    known = [j.job for j in listed.values()] + [j.job for j in ledger.jobs()]
    if "." not in name:
        name += Path(row.home).suffix
    part = read_name(name, rule, known)
    if not isinstance(part, PartName):
        raise UsageError(f"{shown(name)} does not fit the naming rule {rule.pattern}"
                         + (f"; did you mean {part.proposal}?" if part.proposal else ""))  # fmt: skip
    if row.reason.startswith("same bytes"):
        raise UsageError(f"{row.file} holds the same bytes as a scan that has its place already: {row.reason}")
    measured = measure_scan(Ask(row.home, studio.book.bed(row.bed), outer_sides(part.part), part.role,
                                border_mm=studio.book.crop.border_mm))  # fmt: skip
    now = datetime.now(UTC).isoformat()
    target = studio.inbox / free_name(studio.inbox, name)
    step = FilingStep(StepKind.MOVE_SCAN, row.home, str(target), row.id, row.sha256, Place.INBOX)
    before = ledger.job(part.job) or JobRow(part.job, JobState.WAITING, first_utc=now)
    state = before.state if before.outcome else JobState.WAITING
    with ledger.together():  # planned here, moved by whoever holds the studio: both or neither
        ledger.rename_scan(row.id, part, row.place)
        ledger.set_measured(row.id, measured)
        ledger.decide(part.job, Decision(who, "place", f"{row.file} is {name}", now))
        ledger.say(EventRow(now, "decided", part.job, f"{row.file} placed as {name} by {who}"))
        after = replace(before, last_utc=now, state=state, said_unfinished=False)
        ledger.begin_filing(Filing(part.job, (step,), after), now)
    return f"{row.file} is now {shown(target.name)}, part {part.part} of {part.job}; the daemon judges it with its job"


def recheck_jobs(studio: Studio, ledger: Ledger, jobs: list[str], dry_run: bool) -> list[str]:
    """Judge again from the readings taken. A line a change; jobs whose outcome changes are left to the loop."""
    rows = [find_job(ledger, job) for job in jobs] if jobs else [r for r in ledger.jobs() if r.outcome is not None]
    lines: list[str] = []
    for row in rows:
        if row.outcome is None:
            continue
        lines += _recheck(studio, ledger, row, dry_run)
    return lines


def _recheck(studio: Studio, ledger: Ledger, row: JobRow, dry_run: bool) -> list[str]:
    listed = listed_of(studio.job_list()[0], row.job)
    book = studio.book.for_job(row.job, listed.medium if listed else "")
    now = standing(ledger.scans_of(row.job), listed)
    case = Case(row, book, listed, now, Path(), Path())
    lines: list[str] = []
    every: list[Finding] = [*job_findings(case), *(f for f in row.findings if f.check == "join")]
    for scan in now.used:
        new = judged(scan, case)
        every += new
        lines += _changes(row.job, scan, scan.findings, new)
        if not dry_run and new != scan.findings:
            ledger.set_findings(scan.id, new)
    outcome = Outcome.ARCHIVE if row.accepted else outcome_of(every)
    if outcome is not row.outcome:
        lines.append(f"{row.job}: {row.outcome.value if row.outcome else ''} -> {outcome.value}")
        if not dry_run:
            ledger.put_job(replace(row, state=JobState.WORKING, kind=book.kind), datetime.now(UTC).isoformat())
    return lines


def _changes(job: str, scan: ScanRow, old: tuple[Finding, ...], new: tuple[Finding, ...]) -> list[str]:
    before = {(f.check, f.name): f.level for f in old}
    return [
        f"{job} {scan.file}: {f.check} {f.name} {before[f.check, f.name].value} -> {f.level.value}: {f.text}"
        for f in new
        if (f.check, f.name) in before and before[f.check, f.name] is not f.level
    ] + [
        f"{job} {scan.file}: {f.check} {f.name} now {f.level.value}: {f.text}"
        for f in new
        if (f.check, f.name) not in before and f.level is not Level.SOUND
    ]


def _unplaced(studio: Studio, ledger: Ledger, file: str) -> ScanRow:
    given = Path(file)
    rows = ledger.scans_at(Place.UNPLACED, Place.REWORK)
    for row in rows:
        if Path(row.home) in {given, studio.root / given, Path.cwd() / given}:
            return row
    named = [r for r in rows if Path(r.home).name == given.name or r.file == given.name]
    if len(named) == 1:
        return named[0]
    if named:
        raise UsageError(f"{shown(file)} is the name of {len(named)} files; name the path of the one that is meant")
    raise UsageError(f"no unplaced file {shown(file)}; see {studio.unplaced / 'REASONS.txt'}")
