"""What was injected held against what the daemon said: found, missed, false. Reads the documents that the product
itself gives out (`job --json`, `morning --json`), so that a person could check the same."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from fnmatch import fnmatchcase
from typing import Any

from ..model import Level, Pile
from .bed import Streak
from .scenario import Expected, ExpectedUnplaced

Document = Mapping[str, Any]
MARK_TOLERANCE_MM = 0.5
BORDER_MM = 3.0  # as the shipped book has it
LEAST_BEYOND_MM, MOST_BEYOND_MM = -2.5, 1.5  # a torn deckle may be that much smaller than the sheet it was torn from
_PILES_OF_MORNING = {
    "may_go_back": Pile.MAY_GO_BACK,
    "look_first": Pile.LOOK_FIRST,
    "scan_again": Pile.SCAN_AGAIN,
    "desk": Pile.DESK,
    "unfinished": Pile.UNFINISHED,
}


class Verdict(Enum):
    """What one row of the rehearsal came to."""

    FOUND = "found"  # the injected fault was named, the job is in the right pile
    MISSED = "missed"  # an injected fault was not named, or the job is in the wrong pile
    SOUND = "sound"  # nothing was injected and nothing was claimed
    UNSURE = "not judged"  # nothing was injected; the daemon asks a person to look
    FALSE = "false"  # a fault was claimed that was not injected

    @property
    def is_failure(self) -> bool:
        return self in (Verdict.MISSED, Verdict.FALSE)


@dataclass(frozen=True)
class Row:
    """One line of the table: what it is about, what was injected ('' for nothing), what the daemon said."""

    about: str
    injected: str
    said: str
    verdict: Verdict


@dataclass(frozen=True)
class Said:
    """One finding as a document states it."""

    check: str
    level: str
    text: str


def findings(job: Document) -> Iterator[Said]:
    """Every finding of a job that stands, each once: of the parts that count, of the join, of the job itself. What a
    superseded take showed stands no more."""
    last: dict[str, int] = {}
    for part in job.get("parts", ()):
        last[part["part"]] = max(part["take"], last.get(part["part"], 0))
    standing = [part for part in job.get("parts", ()) if part["take"] == last[part["part"]]]
    seen = set()
    for entry in _tables({**job, "parts": standing}):
        if {"check", "name", "level"} <= entry.keys():
            said = Said(f"{entry['check']}.{entry['name']}", str(entry["level"]), str(entry.get("text", "")))
            if said not in seen:
                seen.add(said)
                yield said


def judge_job(expected: Expected, job: Document) -> Row:
    """One job after one act."""
    faults = {said.check for said in findings(job) if said.level == Level.FAULT.value}
    pile = str(job.get("pile"))
    missing = [check for check in expected.faults if check not in faults]
    beyond = sorted(check for check in faults if not _allowed(check, expected))
    said = f"{pile}: {', '.join(sorted(faults)) or 'no fault'}"
    right_pile = pile in {p.value for p in expected.piles}
    return Row(expected.job, expected.injected, said, _verdict(expected, pile, right_pile, missing, beyond))


def _verdict(expected: Expected, pile: str, right_pile: bool, missing: list[str], beyond: list[str]) -> Verdict:
    if missing or (expected.injected and not right_pile):
        return Verdict.MISSED
    if beyond:
        return Verdict.FALSE
    if expected.injected:
        return Verdict.FOUND
    if pile == Pile.LOOK_FIRST.value:
        return Verdict.UNSURE
    return Verdict.SOUND if right_pile else Verdict.FALSE


def _allowed(check: str, expected: Expected) -> bool:
    return check in expected.faults or any(fnmatchcase(check, pattern) for pattern in expected.with_them)


def judge_unplaced(expected: ExpectedUnplaced, morning: Document) -> Row:
    """One file that has to be among the unplaced, with a reason that names what it has to."""
    for entry in morning.get("unplaced", ()):
        if entry.get("file") == expected.file_name:
            reason = str(entry.get("reason", ""))
            named = bool(reason) and all(word.casefold() in reason.casefold() for word in expected.says)
            return Row(expected.file_name, expected.injected, reason, Verdict.FOUND if named else Verdict.MISSED)
    return Row(expected.file_name, expected.injected, "not among the unplaced", Verdict.MISSED)


def judge_unplaced_others(expected: tuple[ExpectedUnplaced, ...], morning: Document) -> Iterator[Row]:
    """Files that were turned away though nothing was wrong with them."""
    right = {e.file_name for e in expected}
    for entry in morning.get("unplaced", ()):
        if entry.get("file") not in right:
            yield Row(str(entry.get("file")), "", f"unplaced: {entry.get('reason')}", Verdict.FALSE)


def judge_streak(streak: Streak, morning: Document) -> Row:
    """The recurring mark has to be told as one of the scanner's, at its place."""
    injected = f"streak over two jobs at x = {streak.x_mm:.1f} mm"
    said = "; ".join(_words(mark) for mark in morning.get("marks", ()) if _is_at(mark, streak))
    return Row("marks of the scanner", injected, said or "not named", Verdict.FOUND if said else Verdict.MISSED)


def judge_other_marks(streak: Streak | None, morning: Document) -> Iterator[Row]:
    """Marks laid to the scanner that are not the scanner's: nobody should clean the glass for a painted dot."""
    for mark in morning.get("marks", ()):
        if streak is None or not _is_at(mark, streak):
            yield Row("marks of the scanner", "", _words(mark), Verdict.FALSE)


def judge_masters(sizes_mm: Mapping[str, tuple[float, float]], jobs: Mapping[str, Document], px_mm: float) -> Row:
    """Archived masters have to hold the whole work with the border around it: width and height against the truth."""
    wrong, count = [], 0
    for job, document in jobs.items():
        crop = document.get("crop")
        if document.get("outcome") != "archive" or not crop:
            continue
        count += 1
        beyond = [
            crop[side] / px_mm - size_mm - 2 * BORDER_MM
            for side, size_mm in zip(("width", "height"), sizes_mm[job], strict=True)
        ]
        if not all(LEAST_BEYOND_MM <= b <= MOST_BEYOND_MM for b in beyond):
            wrong.append(f"{job} by {beyond[0]:+.1f} x {beyond[1]:+.1f} mm")
    said = f"cropped wrongly: {', '.join(wrong)}" if wrong else f"{count} masters, each with its border"
    return Row("masters", "the whole work and its border", said, Verdict.MISSED if wrong else Verdict.FOUND)


def judge_not_seen(jobs: tuple[str, ...], morning: Document) -> Row:
    """Works on the list of which nothing usable came have to be named, and no others."""
    said = {_job_of(entry) for entry in morning.get("expected_not_seen", ())}
    verdict = Verdict.MISSED if set(jobs) - said else Verdict.FALSE if said - set(jobs) else Verdict.FOUND
    return Row("expected, not seen", f"{', '.join(jobs)} never came under its name", ", ".join(sorted(said)), verdict)


def judge_morning(piles: Mapping[str, str], morning: Document) -> Row:
    """The summary's piles have to be those of the jobs: each job once, in the pile its own document states."""
    listed = [(_job_of(entry), pile.value) for key, pile in _PILES_OF_MORNING.items() for entry in morning.get(key, ())]
    count = Counter(job for job, _ in listed)
    wrong = sorted(job for job, pile in piles.items() if count[job] != 1 or (job, pile) not in listed)
    said = f"disagrees on {', '.join(wrong)}" if wrong else f"{len(piles)} jobs, each once, in its pile"
    return Row("morning summary", "every job in one pile", said, Verdict.MISSED if wrong else Verdict.FOUND)


def judge_homes(delivered: Mapping[str, str], homes: Mapping[str, int]) -> Row:
    """Every file that came has to lie in archive or rework with its digest: nothing lost, nothing changed.
    `delivered` maps a digest to a file name, `homes` a digest to how many files there have it."""
    lost = sorted(name for digest, name in delivered.items() if not homes.get(digest))
    said = f"not there unchanged: {', '.join(lost)}" if lost else f"{len(delivered)} of {len(delivered)} found"
    injected = f"{len(delivered)} files brought in"
    return Row("files", injected, said, Verdict.MISSED if lost else Verdict.FOUND)


def notes(job: str, document: Document) -> tuple[tuple[str, Said], ...]:
    """The job's notes and what could not be judged, for a table of what is said beside the faults."""
    wanted = {Level.NOTE.value, Level.UNDECIDED.value}
    return tuple((job, said) for said in findings(document) if said.level in wanted)


def _tables(value: object) -> Iterator[Document]:
    if isinstance(value, Mapping):
        yield value
        for inner in value.values():
            yield from _tables(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from _tables(inner)


def _job_of(entry: object) -> str:
    return str(entry.get("job")) if isinstance(entry, Mapping) else str(entry)


def _places_mm(mark: object) -> Iterator[float]:
    """Every x in mm that an entry of `marks` states, as a figure or in its sentence."""
    for table in _tables(mark):
        if isinstance(table.get("x_mm"), int | float):
            yield float(table["x_mm"])
    for figure in re.findall(r"(\d+(?:\.\d+)?)(?:, \d+(?:\.\d+)?)? mm", _words(mark)):
        yield float(figure)


def _is_at(mark: object, streak: Streak) -> bool:
    return any(abs(x - streak.x_mm) <= MARK_TOLERANCE_MM for x in _places_mm(mark))


def _words(mark: object) -> str:
    """A mark in one line, whatever it is made of."""
    if not isinstance(mark, Mapping):
        return str(mark)
    place = " x ".join(f"{mark[axis]:.1f}" for axis in ("x_mm", "y_mm") if isinstance(mark.get(axis), int | float))
    return str(mark.get("text") or f"{mark.get('bed')}: {mark.get('kind')} at {place} mm in {', '.join(mark['jobs'])}")
