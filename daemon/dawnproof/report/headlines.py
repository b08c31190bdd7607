"""The first five lines of the morning, which answer in ten seconds; a good night is one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from ..model import JobState, JobView, Level, ListedJob, Night, Pile, RecurringMark, ScanRow, shown
from .account import beds_of, due, due_order, faults, in_pile, said, to_look_at, today
from .figures import counted, due_day, due_words, listing
from .watch_kept import gaps, ran_words, runs_of

LOW_HOURS = 12.0  # less room than one more night


_STATES = {
    JobState.WAITING: "not judged yet",
    JobState.UNFINISHED: "parts still to come",
    JobState.WORKING: "being joined and filed",
}


@dataclass(frozen=True, slots=True)
class Headline:
    """One question of the morning and its answer; `well` is False where somebody has to do or to know something."""

    question: str
    answers: tuple[str, ...]
    well: bool

    @property
    def answer(self) -> str:
        """The answers as one text."""
        return ". ".join(self.answers)


def headlines(night: Night) -> tuple[Headline, ...]:
    """Five answers: run, expected works, what must not leave, the scanner, two places."""
    return (_ran(night), _places(night), _stays(night), _scanner(night), _two_places(night))


def is_good(night: Night) -> bool:
    """Whether nothing has to be done: then one sentence is enough."""
    return all(line.well for line in headlines(night)) and not night.alarms


def good_sentence(night: Night) -> str:
    """A good night in one sentence."""
    done = in_pile(night, Pile.MAY_GO_BACK)
    listed = " (every expected one)" if any(v.listed for v in done) else ""
    which = "it" if len(done) == 1 else "any"
    works = f"{counted(len(done), 'work')}{listed} archived, nothing found against returning {which}"
    copies = "every file in two places" if night.second else "one copy only, as no second place is set"
    ran = ran_words(night)
    return f"A good night: {ran[0].lower()}{ran[1:]}; {works if done else 'no work came'}; {copies}."


def scanner_needs(night: Night) -> tuple[str, ...]:
    """What to do at the scanner before the first scan, a sentence each."""
    return (*_marks(night), *_references(night), *_settings(night), *_stitches(night), *_room(night))


def mark_words(mark: RecurringMark) -> str:
    """'streak 33 mm from the left (SL-0416 and SL-0417)'."""
    return f"{_mark_place(mark)} ({listing([shown(job) for job in mark.jobs])})"


def _mark_place(mark: RecurringMark) -> str:
    along = "" if mark.y_mm is None else f" and {mark.y_mm:.0f} mm from the top"
    kind = {"soft": "soft place"}.get(mark.kind, shown(mark.kind))
    return f"{kind} {mark.x_mm:.0f} mm from the left{along}"


def stay_words(view: JobView, night: Night) -> str:
    """'SL-C405 (due today: doubling 6 px at 210 mm)'."""
    found = faults(view) or (() if view.pile in {None, Pile.UNFINISHED} else to_look_at(view))
    why = found[0].brief if found else waiting_words(view)
    when = due_words(due(view), today(night))
    inside = ": ".join(word for word in (when, why) if word)
    return f"{shown(view.row.job)} ({inside})" if inside else shown(view.row.job)


def _with_due(view: JobView, night: Night) -> str:
    when = due_words(due(view), today(night)).removeprefix("due ")
    return f"{shown(view.row.job)} ({when})" if when else shown(view.row.job)


def waiting_words(view: JobView) -> str:
    """Why a job without fault is held: its hold, a missing copy, the parts it waits for."""
    if view.listed and view.listed.hold and not view.row.released:
        return f"hold: {shown(view.listed.hold)}"
    if view.row.second_missing:
        return "second copy not verified"
    return f"waits for {shown(view.row.waits_for)}" if view.row.waits_for else _STATES.get(view.row.state, "")


def _ran(night: Night) -> Headline:
    alarms = [shown(alarm) for alarm in night.alarms]
    answers = (ran_words(night), *(f"Alarm: {alarm}" for alarm in alarms))
    return Headline("Did it run all night?", answers, bool(runs_of(night)) and not gaps(night) and not alarms)


def _places(night: Night) -> Headline:
    expected = sum(1 for view in night.jobs if view.listed) + len(night.expected_not_seen)
    answers = []
    if night.expected_not_seen:
        names = [_expected(job, night) for job in expected_due_first(night)]
        answers.append(f"Never seen: {listing(names)}")
    elif expected:
        answers.append(f"All {counted(expected, 'expected work')} came" if expected > 1 else "The expected work came")
    else:
        answers.append("No job list: nothing was expected")
    if night.unplaced:
        files = [shown(scan.file) for scan in night.unplaced]
        answers.append(f"{counted(len(files), 'file')} without a place: {listing(files, 3)}")
    if night.job_list_problems:
        answers.append(f"Job list: {counted(len(night.job_list_problems), 'line')} not understood")
    well = not (night.expected_not_seen or night.unplaced or night.job_list_problems)
    return Headline("Does every expected work have a place?", tuple(answers), well)


def expected_due_first(night: Night) -> tuple[ListedJob, ...]:
    """Works of the job list of which nothing came, earliest due first."""
    return tuple(sorted(night.expected_not_seen, key=lambda job: (due_day(job.due) or date.max, job.job)))


def _expected(job: ListedJob, night: Night) -> str:
    """The job, its due day, and whether a file without a place seems to be of it."""
    number = _squeezed(job.job)
    aside = "perhaps among the files without a place"
    words = [due_words(shown(job.due), today(night)),
             aside if any(number in _squeezed(scan.file) for scan in night.unplaced) else ""]  # fmt: skip
    told = ", ".join(word for word in words if word)
    return f"{shown(job.job)} ({told})" if told else shown(job.job)


def _squeezed(name: str) -> str:
    return "".join(character for character in name.casefold() if character.isalnum())


def _stays(night: Night) -> Headline:
    answers = []
    for words, piles in (
        ("Must stay, due first", (Pile.SCAN_AGAIN, Pile.UNFINISHED)),
        ("Look first", (Pile.LOOK_FIRST,)),
        ("Desk, may leave", (Pile.DESK,)),
    ):
        views = sorted((v for pile in piles for v in in_pile(night, pile)), key=due_order)
        if views:
            answers.append(f"{words}: {listing([_with_due(view, night) for view in views], 8)}")
    well = not answers
    if well:
        done = in_pile(night, Pile.MAY_GO_BACK)
        answers.append("Nothing found against returning any work" if done else "No work has been archived")
    return Headline("What must not leave?", tuple(answers), well)


def _scanner(night: Night) -> Headline:
    needs = scanner_needs(night)
    return Headline("What does the scanner need before the first scan?", needs or ("Nothing",), not needs)


def _two_places(night: Night) -> Headline:
    failed = [f for f in night.fixity if not f.ok]
    behind = [shown(view.row.job) for view in night.jobs if view.row.second_missing]
    answers = []
    if failed:
        bags = [shown(f.bag) for f in failed]
        answers.append(f"Not as filed: {listing(bags)}; take the second copy, do not overwrite either")
    if behind:
        answers.append(f"Second copy not verified: {listing(behind)}")
    if not night.second:
        answers.append("One copy only: no second place is set in the rule book ([archive] second)")
    elif not behind:
        answers.append("Every archived file is in two places, the second copy read back")
    if night.fixity and not failed:
        answers.append(f"{counted(len(night.fixity), 'bag')} re-read, as filed")
    return Headline("Are the files in two places?", tuple(answers), not failed and not behind)


def _marks(night: Night) -> list[str]:
    by_bed: dict[str, list[str]] = {}
    for mark in night.marks:
        by_bed.setdefault(shown(mark.bed), []).append(_mark_place(mark))
    return [f"{bed}: clean the glass, {listing(places, 4)}" for bed, places in by_bed.items()]


def _references(night: Night) -> list[str]:
    newest: dict[str, ScanRow] = {scan.bed: scan for scan in sorted(night.references, key=lambda s: s.admitted_utc)}
    lines = []
    for bed, scan in newest.items():
        for finding in scan.findings:
            if finding.level in {Level.FAULT, Level.NOTE} and finding.check in {"light", "streaks"}:
                advice = shown(finding.advice).rstrip(".")
                told = f"{advice[:1].lower()}{advice[1:]} ({shown(finding.text)})" if advice else shown(finding.text)
                lines.append(f"{shown(bed)}: {told}")
    return lines


def _settings(night: Night) -> list[str]:
    wrong: dict[str, list[str]] = {}
    for view in night.jobs:
        for one in faults(view):
            key = f"{one.finding.check}.{one.finding.name}"
            if key.startswith(("encoding.depth", "encoding.channels", "resolution.ppi", "resolution.halo")):
                bed = shown(one.scan.bed) if one.scan and one.scan.bed else "scanner"
                wrong.setdefault(bed, []).append(f"{shown(view.row.job)}: {one.brief}")
    return [f"{bed}: check the settings ({listing(found, 3)})" for bed, found in wrong.items()]


def _stitches(night: Night) -> list[str]:
    uneven: dict[str, list[str]] = {}
    for view in night.jobs:
        if any((s.finding.check, s.finding.name) == ("seam", "step") for s in said(view, Level.FAULT)):
            for bed in beds_of(view):
                uneven.setdefault(bed, []).append(shown(view.row.job))
    advice = "run the white calibration, tone step at the stitch"
    return [f"{bed}: {advice} ({listing(jobs)})" for bed, jobs in uneven.items()]


def _room(night: Night) -> list[str]:
    return [
        f"Make room: {shown(space.folder)} holds {space.hours_left:.0f} h more at this night's rate"
        for space in night.space
        if space.hours_left is not None and space.hours_left < LOW_HOURS
    ]
