"""The first five lines of the morning, which answer in ten seconds; a good night is one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from ..model import JobState, JobView, ListedJob, Night, Pile, Place, ScanRow, shown
from .account import due, due_order, faults, in_pile, to_look_at, today
from .before_first import SIDES, names_a_side, scanner_needs
from .figures import counted, due_day, due_words, listing
from .watch_kept import Watched, ran_words, watched

MOST_NAMED = 40  # works in one answer: what must stay is named, not counted
HOLD = "no scan of it is filed: hold"

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
    return f"A good night: {_lowered(ran_words(night))}; {works if done else 'no work came'}; {copies}."


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
    answers = (f"{watched(night).value}: {_lowered(ran_words(night))}", *(f"Alarm: {alarm}" for alarm in alarms))
    return Headline("Did it run all night?", answers, watched(night) is Watched.YES and not alarms)


def _lowered(words: str) -> str:
    return words[:1].lower() + words[1:]


def _places(night: Night) -> Headline:
    expected = sum(1 for view in night.jobs if view.listed) + len(night.expected_not_seen)
    answers = []
    if night.expected_not_seen:
        names = [_expected(job, night) for job in expected_due_first(night)]
        answers.append(f"Never seen: {listing(names, MOST_NAMED)}")
    elif expected:
        answers.append(f"All {counted(expected, 'expected work')} came" if expected > 1 else "The expected work came")
    else:
        answers.append("No job list: nothing was expected")
    if night.unplaced:
        files = [shown(scan.file) for scan in night.unplaced]
        stay = "" if all(is_twin(scan) for scan in night.unplaced) else "; their works must stay"
        answers.append(f"Set aside, not filed: {counted(len(files), 'file')}, {listing(files, 3)}{stay}")
    if night.job_list_problems:
        answers.append(f"Job list: {counted(len(night.job_list_problems), 'line')} not understood")
    well = not (night.expected_not_seen or night.unplaced or night.job_list_problems)
    return Headline("Does every expected work have a place?", tuple(answers), well)


def expected_due_first(night: Night) -> tuple[ListedJob, ...]:
    """Works of the job list of which nothing came, earliest due first."""
    return tuple(sorted(night.expected_not_seen, key=listed_order))


def _expected(job: ListedJob, night: Night) -> str:
    """The job, its due day, and the file set aside that seems to be of it."""
    aside = listing([shown(scan.file) for scan in set_aside_for(job, night)], 2)
    words = [due_words(shown(job.due), today(night)), f"perhaps the file {aside}, set aside" if aside else ""]
    told = ", ".join(word for word in words if word)
    return f"{shown(job.job)} ({told})" if told else shown(job.job)


def set_aside_for(job: ListedJob, night: Night) -> tuple[ScanRow, ...]:
    """Files that were set aside and have the job's number in their name."""
    number = _squeezed(job.job)
    return tuple(scan for scan in night.unplaced if number in _squeezed(scan.file))


def _squeezed(name: str) -> str:
    return "".join(character for character in name.casefold() if character.isalnum())


def _stays(night: Night) -> Headline:
    """What must stay, expected works without a scan among them; then what is to be looked at; then, apart from what
    must stay, what is only for the desk."""
    staying = [(due_order(v), _with_due(v, night)) for pile in (Pile.SCAN_AGAIN, Pile.UNFINISHED)
               for v in in_pile(night, pile)]  # fmt: skip
    staying += [(listed_order(job), _unseen(job, night)) for job in night.expected_not_seen]
    look = [_with_due(view, night) for view in in_pile(night, Pile.LOOK_FIRST)]
    answers = []
    if staying:
        answers.append(f"Must stay, due first: {listing([words for _, words in sorted(staying)], MOST_NAMED)}")
    if look:
        answers.append(f"Look at the close-up before it leaves: {listing(look, MOST_NAMED)}")
    answers += _at_the_desk(night)
    well = not answers
    if well:
        done = in_pile(night, Pile.MAY_GO_BACK)
        answers.append("Nothing found against returning any work" if done else "No work has been archived")
    return Headline("What must not leave?", tuple(answers), well)


def _at_the_desk(night: Night) -> list[str]:
    """Jobs for the desk, by what is known of the work: two pictures, no sound scan filed yet, a sound one filed."""
    kinds: dict[str, list[str]] = {
        "Two pictures under one number; compare them with the work before it leaves": [],
        "A matter for the desk; no new scan is needed, but none is filed yet": [],
        "A matter for the desk only; the work is scanned and may go": [],
    }
    two, unfiled, filed = kinds.values()
    for view in in_pile(night, Pile.DESK):
        other = any(one.finding.name == "other_picture" for one in faults(view))
        there = any(scan.place is Place.ARCHIVE for scan in view.scans)
        (two if other else filed if there else unfiled).append(_with_due(view, night))
    return [f"{words}: {listing(jobs, MOST_NAMED)}" for words, jobs in kinds.items() if jobs]


def is_twin(scan: ScanRow) -> bool:
    """Whether a file was set aside only because its bytes are held already: then its work is scanned."""
    return scan.reason.startswith("same bytes")


def _unseen(job: ListedJob, night: Night) -> str:
    when = due_words(shown(job.due), today(night)).removeprefix("due ")
    return f"{shown(job.job)} ({', '.join(word for word in (when, HOLD) if word)})"


def listed_order(job: ListedJob) -> tuple[date, str]:
    """Sorts works of the job list as jobs are sorted: due first, then by number."""
    return due_day(job.due) or date.max, job.job


def _scanner(night: Night) -> Headline:
    needs = scanner_needs(night)
    needs = (*needs, SIDES) if names_a_side(needs) else needs
    return Headline("What does the scanner need before the first scan?", needs or ("Nothing",), not needs)


def _two_places(night: Night) -> Headline:
    failed = [shown(f.bag) for f in night.fixity if not f.ok]
    behind = [shown(view.row.job) for view in night.jobs if view.row.second_missing]
    answers = []
    if not night.second:
        answers.append(
            "No: one copy only. A second folder is not set, so one broken disk loses everything; copy the archive to "
            "another disk before works go back (rule book: second under [archive])"
        )
    elif behind:
        answers.append(f"No, not all: the second copy is not verified of {listing(behind, MOST_NAMED)}")
    else:
        answers.append("Yes: every archived file is in two places, the second copy read back")
    if failed:
        bags = listing(failed, MOST_NAMED)
        answers.append(f"Changed since it was filed: {bags}; take the second copy, do not overwrite either")
    elif night.fixity:
        answers.append(f"{counted(len(night.fixity), 'archived job')} re-read, as filed")
    return Headline("Are the files in two places?", tuple(answers), bool(night.second) and not failed and not behind)
