"""A note that most jobs of the night carry is said once for all of them, not once a job."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..model import JobView, Level, Night, shown
from ..policy import holds_back
from .account import NOT_JUDGED, Said, said
from .figures import counted, listing
from .stitches import is_shown_stitch, stitch_words

LEAST_JOBS = 3


@dataclass(frozen=True, slots=True)
class Repeated:
    """One note (or undecided finding that holds nothing back) that more than half of the judged jobs carry."""

    check: str
    name: str
    jobs: tuple[str, ...]
    judged: int
    example: str

    @property
    def words(self) -> str:
        """'On 9 of 12 jobs: …' with one job's sentence as example."""
        if len(self.jobs) == self.judged:
            return f"On all {counted(self.judged, 'job')}: {self.example}"
        return f"On {len(self.jobs)} of {counted(self.judged, 'job')}: {self.example}"


def repeated(night: Night) -> tuple[Repeated, ...]:
    """What is said once."""
    judged = [view for view in night.jobs if view.row.outcome is not None]
    found: dict[tuple[str, str], list[tuple[str, Said]]] = {}
    for view in judged:
        for key, one in {(s.finding.check, s.finding.name): s for s in reversed(minor(view))}.items():
            found.setdefault(key, []).append((shown(view.row.job), one))
    return tuple(_repeated(key, held, len(judged)) for key, held in found.items()
                 if len(held) >= LEAST_JOBS and 2 * len(held) > len(judged))  # fmt: skip


def minor(view: JobView) -> tuple[Said, ...]:
    """Notes, and what could not be judged but holds nothing back."""
    return (*said(view, Level.NOTE), *(s for s in said(view, Level.UNDECIDED) if not holds_back(s.finding)))


def own_notes(view: JobView, common: tuple[Repeated, ...]) -> tuple[Said, ...]:
    """The notes that belong to this job and are not said for the night as a whole; of several alike the first, with
    how many there are. What the joined image shows of stitches is one note."""
    shared = {(one.check, one.name) for one in common}
    alike: dict[tuple[str, str, Level], list[Said]] = {}
    for one in said(view, Level.NOTE):
        if (one.finding.check, one.finding.name) not in shared:
            alike.setdefault((one.finding.check, one.finding.name, one.finding.level), []).append(one)
    return tuple(_worded(found, view) for found in alike.values())


def _worded(alike: list[Said], view: JobView) -> Said:
    first = alike[0].finding
    if is_shown_stitch(first) and (words := stitch_words(view)):
        return replace(alike[0], finding=replace(first, text=words))
    if (first.check, first.name) == ("join", "overlap") and _join_is_sound(view):
        text = f"{first.text}; the join itself was judged and is sound"
        return replace(alike[0], finding=replace(first, text=text))
    return _counted(alike)


def _join_is_sound(view: JobView) -> bool:
    """Whether the parts were joined and nothing of the join was found faulty or left open."""
    open_levels = {Level.FAULT, Level.UNDECIDED}
    of_join = [f for f in view.row.findings if f.check == "join"]
    return bool(view.row.join) and not any(f.level in open_levels for f in of_join)


def unjudged(night: Night, common: tuple[Repeated, ...]) -> tuple[str, ...]:
    """What could not be judged and bears on no decision, a line a job and reason; what most jobs share is left out, and
    what was said of a doubling for the same reason."""
    shared = {(one.check, one.name) for one in common}
    lines = []
    for view in night.jobs:
        reasons: dict[tuple[str, str], list[str]] = {}
        said_already = {_reason(s) for s in said(view, Level.UNDECIDED) if holds_back(s.finding)}
        for one in (s for s in said(view, Level.UNDECIDED) if not holds_back(s.finding)):
            if (one.finding.check, one.finding.name) not in shared and _reason(one) not in said_already:
                what = one.text.partition(NOT_JUDGED)[0]
                reasons.setdefault((one.part_words, _reason(one)), []).append(what)
        lines += [f"{shown(view.row.job)}, {part}: {listing(list(dict.fromkeys(what)))}{NOT_JUDGED}{why}"
                  for (part, why), what in reasons.items()]  # fmt: skip
    return tuple(lines)


def _reason(one: Said) -> str:
    return one.text.partition(NOT_JUDGED)[2] or one.text


def _counted(alike: list[Said]) -> Said:
    if len(alike) == 1:
        return alike[0]
    finding = replace(alike[0].finding, text=f"{alike[0].finding.text} (and {len(alike) - 1} more like it)")
    return replace(alike[0], finding=finding)


def _repeated(key: tuple[str, str], held: list[tuple[str, Said]], judged: int) -> Repeated:
    texts = {one.text for _, one in held}
    example = held[0][1].text
    if len(texts) > 1:
        example += f" ({held[0][0]}; the others alike: {listing([job for job, _ in held[1:]], 4)})"
    return Repeated(*key, tuple(job for job, _ in held), judged, example)
