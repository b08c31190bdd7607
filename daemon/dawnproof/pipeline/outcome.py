"""A job whose scans are all there: what is known of it before the child looks, and the filing that follows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from .. import __version__
from ..errors import MoveError
from ..jobs import Standing, beds_differ, of_one_session, part_key, with_takes
from ..ledger.ledger import Ledger
from ..model import (
    Filing,
    FilingStep,
    Finding,
    JobRow,
    JobState,
    JobView,
    Level,
    ListedJob,
    Needs,
    Outcome,
    Pile,
    Place,
    Role,
    ScanRow,
    StepKind,
)
from ..naming import job_key
from ..policy import Context, judge_scan, make_finding, pile_of
from ..report.documents import record_document, to_json
from ..report.note import rescan_note_html, rescan_note_text
from ..rulebook import RuleBook
from ..storage.bag import write_tag_files
from ..storage.disk import digest
from ..storage.free_names import free_name
from ..storage.moves import copy, make_folder, write_beside
from ..storage.names import mark_of, take_name
from ..storage.studio import Studio
from ..workers.job_asks import JobAsk, Made, PartAsk
from .asked import asked_of
from .steps import STAGING, discard

SOFTWARE = f"Dawnproof {__version__}"
BEDS_ADVICE = "Set both beds alike, then scan the part again that is not as the work needs it"
TAKEN_ADVICE = (
    "Give the work another number with `dawnproof place`, or this studio an archive folder of its own "
    "([folders] archive)"
)
FLATBED_NOTE = (
    "the published guidelines (FADGI 2016) do not recommend flatbeds for paintings with relief; tiles may render it "
    "differently from part to part"
)


@dataclass(frozen=True, slots=True)
class Case:
    """A job about to be judged: its row, book, line of the job list and standing, and the folders of this attempt."""

    row: JobRow
    book: RuleBook
    listed: ListedJob | None
    standing: Standing
    staging: Path
    proofs: Path
    taken_by: str = ""  # the other studio whose name in a shared archive this is


def open_case(studio: Studio, ledger: Ledger, row: JobRow, standing: Standing, listed: ListedJob | None) -> Case:
    """Make the folders of an attempt; they are hidden, beside the place where they will stand. Never for a job with
    an open filing. MoveError where that cannot be done."""
    book = studio.book.for_job(row.job, listed.medium if listed else "")
    owner = take_name(studio, row.job)
    staging = studio.archive / f"{STAGING}{mark_of(studio)}{row.job}"
    proofs = studio.proof / f"{STAGING}{mark_of(studio)}{row.job}"
    for folder in (staging, proofs):
        if not discard(folder, ledger):
            raise MoveError(f"{folder} may hold scans that are nowhere else; look into it, then move it away")
    make_folder(staging / "data" / "parts")
    make_folder(proofs)
    row = replace(row, kind=book.kind, accepted=row.accepted and owner is None)  # no word of a person's frees a name
    return Case(row, book, listed, standing, staging, proofs, owner.words if owner else "")


def close_case(case: Case, ledger: Ledger) -> None:
    """Remove the folders of an attempt that came to nothing; never while its filing is open."""
    for folder in (case.staging, case.proofs):
        discard(folder, ledger)


def ask_of(case: Case, studio: Studio, ledger: Ledger, recurring: frozenset[int] = frozenset()) -> JobAsk:
    """What the child is told; findings of each scan are judged anew by the job's own book and kept."""
    used = [replace(r, findings=judged(r, case, r.id in recurring)) for r in case.standing.used]
    session = _of_one_session(case, recurring)
    older = [r for r in session if r.id not in {u.id for u in used}]
    for row in (*used, *older):
        ledger.set_findings(row.id, row.findings)
    order = {part_key(row): place for place, row in enumerate(used)}
    shown = sorted((*used, *older), key=lambda row: order[part_key(row)])
    parts = tuple(_part_ask(r, studio) for r in shown if r.name and r.name.role in {Role.WORK, Role.OVERVIEW})
    return JobAsk(
        case.row.job, case.book, case.listed, parts, case.standing.grid,
        job_findings(case), str(case.staging), str(case.proofs), SOFTWARE, case.row.accepted,
        first=tuple(r.id for r in session), older=tuple(r.id for r in older),
        strangers=tuple(
            _stranger(r, studio) for r in case.standing.strangers
            if r.measured and r.place in {Place.INBOX, Place.REWORK}
        ),
    )  # fmt: skip


def _of_one_session(case: Case, recurring: frozenset[int]) -> list[ScanRow]:
    """The takes of one session to be tried first; none where an older one of them carries a fault itself."""
    highest = {r.id for r in case.standing.used}
    rows = [
        replace(r, findings=judged(r, case, r.id in recurring))
        for r in of_one_session(case.standing, case.book.join.hours_apart)
    ]
    faulty = any(f.level is Level.FAULT for r in rows if r.id not in highest for f in r.findings)
    return [] if faulty else rows


def judged(row: ScanRow, case: Case, recurring: bool = False) -> tuple[Finding, ...]:
    """Findings of one scan by the job's book; what intake said of it stays."""
    if row.measured is None or row.name is None:
        return row.findings
    own = tuple(f for f in row.findings if f.check == "job")
    context = Context(
        row.name.role, case.listed, row.measured.width_px, row.measured.height_px, row.measured.ppi_x,
        whole=row.name.part == "whole", recurring=recurring,
    )  # fmt: skip
    return own + judge_scan(row.measured.readings, case.book, context)


def job_findings(case: Case) -> tuple[Finding, ...]:
    """What is to be said of the job as a whole before its pictures are looked at."""
    standing, found = case.standing, []
    if standing.missing:
        found.append(make_finding("job", "missing", Level.FAULT, f"never scanned: {', '.join(standing.missing)}"))
    if standing.doubled:
        names = ", ".join(standing.doubled)
        found.append(make_finding("job", "doubled", Level.FAULT, f"two different scans claim to be part {names}"))
    if standing.contradiction:
        found.append(
            make_finding("job", "contradiction", Level.FAULT, f"the names contradict: {standing.contradiction}")
        )
    if beds := beds_differ(standing.parts):
        finding = make_finding("job", "contradiction", Level.FAULT, f"the beds contradict: {beds}", BEDS_ADVICE)
        found.append(replace(finding, needs=Needs.ARTWORK))
    if case.taken_by:
        text = f"the name {case.row.job} belongs to another studio in this archive: {case.taken_by}"
        found.append(make_finding("job", "contradiction", Level.FAULT, text, TAKEN_ADVICE))
    for row in standing.strangers:
        found += [f for f in row.findings if f.name == "other_picture"]
    if case.row.refused:
        found.append(make_finding("job", "refused", Level.FAULT, "refused by a person; see the decision"))
    if case.book.relief:
        found.append(make_finding("job", "relief", Level.NOTE, FLATBED_NOTE, ""))
    return tuple(found)


def archive_filing(case: Case, studio: Studio, ledger: Ledger, made: Made, now: datetime,
                   proceed: Callable[[], None] = lambda: None) -> Filing:  # fmt: skip
    """The bag is complete in its staging but for the scans themselves; the plan brings these in and gives the bag its
    name. A later scan of an archived job makes a whole new bag: its unchanged parts are copied here, and `proceed` may
    break that off."""
    case = replace(case, standing=with_takes(case.standing, made.used))
    version = case.row.version + 1
    final = studio.archive / (case.row.job if version == 1 else f"{case.row.job}.v{version}")
    after = _after(case, made, now, version, str(final / made.masters[0].path) if made.masters else "")
    kept: dict[str, str] = {}
    moves, copies = [], []
    for row in case.standing.used:
        name = free_name(case.staging / "data" / "parts", Path(row.home).name, tuple(kept))
        kept[name] = row.sha256
        staged, settled = case.staging / "data" / "parts" / name, final / "data" / "parts" / name
        if row.place is Place.ARCHIVE:
            copy(Path(row.home), staged, row.sha256, proceed)
            copies.append((row.sha256, str(settled)))
        else:
            moves.append(FilingStep(StepKind.MOVE_SCAN, row.home, str(staged), row.id, row.sha256, Place.ARCHIVE,
                                    str(settled)))  # fmt: skip
    after = replace(after, second_missing=studio.second is not None)
    _close_bag(case, ledger, after, made, kept, now)
    steps = [*moves, FilingStep(StepKind.SETTLE, str(case.staging), str(final)),
             FilingStep(StepKind.SHOW, str(case.proofs), str(studio.proof / case.row.job))]  # fmt: skip
    steps += _closing_steps(case, studio)
    return Filing(case.row.job, tuple(steps), after, tuple(copies))


def rework_filing(case: Case, studio: Studio, ledger: Ledger, made: Made, now: datetime) -> Filing:
    """The scans, untouched, with a note and a record; the last bag of the job, if any, stays as it is."""
    folder = studio.rework / case.row.job
    after = _after(case, made, now, case.row.version, case.row.master)
    desk = studio.bench / "notes" / case.row.job
    pictures = studio.bench / "pictures" / case.row.job
    make_folder(desk)
    make_folder(pictures.parent)
    steps = [FilingStep(StepKind.MAKE_FOLDER, target=str(folder))]
    taken: list[str] = ["rescan-note.txt", "rescan-note.html", "record.json"]
    everything = (*case.standing.used, *case.standing.superseded, *case.standing.strangers)
    waiting = [r for r in ledger.scans_of(case.row.job) if r.place is Place.INBOX]
    for row in waiting:
        base = folder if folder.is_dir() else desk
        name = free_name(base, Path(row.home).name, tuple(taken))
        taken.append(name)
        steps.append(FilingStep(StepKind.MOVE_SCAN, row.home, str(folder / name), row.id, row.sha256, Place.REWORK))
    view = _view(case, after, _fresh(everything, ledger), ledger, Pile.SCAN_AGAIN)
    view = replace(view, pile=pile_of(Outcome.REWORK, all_findings(view), bool(case.listed and case.listed.hold)),
                   asked=asked_of(case.book, case.listed))  # fmt: skip
    shown = {p.name: p.read_bytes() for p in (case.proofs / "proof.jpg", case.proofs / "details.jpg") if p.is_file()}
    for name, text in (
        ("rescan-note.txt", rescan_note_text(view)),
        ("rescan-note.html", rescan_note_html(view, shown)),
        ("record.json", to_json(record_document(view, __version__, case.book.name))),
    ):
        write_beside(desk / name, text.encode("utf-8", "backslashreplace"), replace=True)
        steps.append(FilingStep(StepKind.PUT, str(desk / name), str(folder / name)))
    steps.append(FilingStep(StepKind.SHOW, str(case.proofs), str(pictures)))
    return Filing(case.row.job, tuple(steps), after)


def all_findings(view: JobView) -> tuple[Finding, ...]:
    """Findings of the job and of the scans that count for it."""
    return (*view.row.findings, *(f for scan in view.scans for f in scan.findings))


def _after(case: Case, made: Made, now: datetime, version: int, master: str) -> JobRow:
    state = JobState.ARCHIVED if made.outcome is Outcome.ARCHIVE else JobState.REWORK
    return replace(
        case.row, state=state, outcome=made.outcome, version=version, findings=made.findings, waits_for="",
        waits_until_utc="", judged_utc=now.isoformat(), join=made.join, crop=made.crop, print_sizes=made.print_sizes,
        master=master, said_unfinished=False,
    )  # fmt: skip


def _view(case: Case, row: JobRow, scans: Sequence[ScanRow], ledger: Ledger, pile: Pile) -> JobView:
    return JobView(row, tuple(scans), case.listed, ledger.decisions_of(row.job), pile, missing=case.standing.missing)


def _fresh(rows: Sequence[ScanRow], ledger: Ledger) -> list[ScanRow]:
    by_id = {r.id: r for r in ledger.scans_of(rows[0].name.job)} if rows and rows[0].name else {}
    return [by_id.get(r.id, r) for r in rows]


def _close_bag(case: Case, ledger: Ledger, after: JobRow, made: Made, kept: dict[str, str], now: datetime) -> None:
    view = _view(case, after, _fresh(case.standing.used, ledger), ledger, Pile.MAY_GO_BACK)
    record = to_json(record_document(view, __version__, case.book.name)).encode()
    write_beside(case.staging / "data" / "record.json", record, replace=True)
    coming = {f"data/parts/{name}": row.size_bytes for name, row in zip(kept, case.standing.used, strict=True)}
    digests = {f"data/parts/{name}": sha256 for name, sha256 in kept.items()}
    digests["data/record.json"] = digest(case.staging / "data" / "record.json").sha256
    digests |= {master.path: master.sha256 for master in made.masters}
    info = [("Bag-Software-Agent", SOFTWARE), ("External-Identifier", case.row.job),
            ("External-Description", f"scans and production master, version {after.version}")]  # fmt: skip
    write_tag_files(case.staging, digests, now.date().isoformat(), info, coming)


def _closing_steps(case: Case, studio: Studio) -> list[FilingStep]:
    """What is left in rework when a job is made good goes to the closed folder, or disappears when there is nothing."""
    folder, closed = studio.rework / case.row.job, studio.closed / case.row.job
    old = [r for r in (*case.standing.superseded, *case.standing.strangers) if r.place in {Place.REWORK, Place.INBOX}]
    notes = [folder / name for name in ("rescan-note.txt", "rescan-note.html", "record.json")]
    steps: list[FilingStep] = []
    if old or any(n.exists() for n in notes):
        steps.append(FilingStep(StepKind.MAKE_FOLDER, target=str(closed)))
    taken: list[str] = []
    for row in old:
        base = closed if closed.is_dir() else case.proofs
        name = free_name(base, Path(row.home).name, tuple(taken))
        taken.append(name)
        steps.append(FilingStep(StepKind.MOVE_SCAN, row.home, str(closed / name), row.id, row.sha256, Place.CLOSED))
    steps += [FilingStep(StepKind.CLOSE, str(n), str(closed / n.name)) for n in notes if n.exists()]
    if folder.exists():
        steps.append(FilingStep(StepKind.CLEAR, target=str(folder)))
    return steps


def _part_ask(row: ScanRow, studio: Studio) -> PartAsk:
    if row.name is None or row.measured is None:
        raise ValueError(f"{row.file} has no name or was not measured")
    admitted = datetime.fromisoformat(row.admitted_utc).timestamp()
    return PartAsk(row.id, row.home, row.file, row.name.part, row.name.light, studio.book.bed(row.bed), row.measured,
                   row.findings, admitted)  # fmt: skip


def _stranger(row: ScanRow, studio: Studio) -> PartAsk:
    """A take that shows another picture, labelled as such."""
    ask = _part_ask(row, studio)
    take = row.name.take if row.name else 1
    return replace(ask, label=f"{'' if ask.label == 'whole' else f'{ask.label}, '}take {take}")


def listed_of(listed: dict[str, ListedJob], job: str) -> ListedJob | None:
    """The line of the job list, whatever the spelling."""
    return listed.get(job_key(job))
