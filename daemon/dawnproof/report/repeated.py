"""A note that most jobs of the night carry is said once for all of them, not once a job."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..model import JobView, Level, Night, shown
from ..policy import holds_back
from .account import Said, said
from .figures import counted, listing

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
    how many there are."""
    shared = {(one.check, one.name) for one in common}
    alike: dict[tuple[str, str, Level], list[Said]] = {}
    for one in minor(view):
        if (one.finding.check, one.finding.name) not in shared:
            alike.setdefault((one.finding.check, one.finding.name, one.finding.level), []).append(one)
    return tuple(_counted(found) for found in alike.values())


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
