"""What one job amounts to: its findings part by part in the order of what they cost, its takes, its due day."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from ..jobs import standing
from ..model import Finding, JobView, Level, Night, PartName, Pile, Reading, Role, ScanRow, StayingRow, Where, shown
from ..policy import holds_back
from .figures import day_and_clock, due_day, due_words, listing, local
from .in_brief import in_brief

CAUTIONS_MARK = " Cautions: "
NOT_JUDGED = " could not be judged: "
LEFT_ALONE = "left alone"  # the kind of a file that a rule of the studio leaves where it is
STOP = "Stop: this would be the third take. Decide with the owner or a conservator before the work is laid down again"

# what costs most when missed comes first; a check or (check, name) that is not listed comes last
_COST: tuple[str, ...] = (
    "job.missing", "job.other_picture", "job.doubled", "job.contradiction", "job", "seam.doubling", "seam",
    "crop.works", "crop", "join", "clipping", "resolution", "encoding", "travel", "fringe", "focus", "streaks", "light",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Said:
    """A finding and the scan it was made on; without a scan it belongs to the job as a whole."""

    finding: Finding
    scan: ScanRow | None = None
    missing: tuple[str, ...] = ()

    @property
    def name(self) -> PartName | None:
        return self.scan.name if self.scan else None

    @property
    def part(self) -> str:
        """The part's label, '' for the job as a whole."""
        return shown(self.name.part) if self.name else ""

    @property
    def part_words(self) -> str:
        """'part R, take 2', 'whole', 'the job'."""
        if self.name is None:
            return "the job"
        words = self.part if self.part == "whole" or self.name.role is not Role.WORK else f"part {self.part}"
        light = f", light {shown(self.name.light)}" if self.name.light else ""
        return words + light + (f", take {self.name.take}" if self.name.take > 1 else "")

    @property
    def reading(self) -> Reading | None:
        """The reading behind the finding, where the scan holds it."""
        measured = self.scan.measured if self.scan else None
        key = (self.finding.check, self.finding.name)
        return next((r for r in measured.readings if (r.check, r.name) == key), None) if measured else None

    @property
    def brief(self) -> str:
        """At most seven words with the figure that matters."""
        words = in_brief(self.finding, self.reading, self.missing)
        return words.removesuffix(" across") if self._both_ways else words

    @property
    def _both_ways(self) -> bool:
        """Whether what is said across holds along the travel too, within a hundredth."""
        if self.reading is None or not self.finding.name.endswith("_x") or self.scan is None or not self.scan.measured:
            return False
        other = f"{self.finding.name[:-1]}y"
        along = next((r.value for r in self.scan.measured.readings if (r.check, r.name) == (self.finding.check, other)),
                     None)  # fmt: skip
        across = self.reading.value
        if not isinstance(across, float | int) or not isinstance(along, float | int):
            return False
        return abs(across - along) <= 0.01 * abs(across)

    @property
    def text(self) -> str:
        """The finding's own sentence, shown harmlessly."""
        return shown(self.finding.text)

    @property
    def advice(self) -> str:
        """What to do, without the cautions: those are said once."""
        return shown(self.finding.advice.partition(CAUTIONS_MARK)[0]).rstrip(".")

    @property
    def cautious(self) -> bool:
        """Whether the advice concerns handling, so that the cautions must stand beside it."""
        return CAUTIONS_MARK in self.finding.advice


def used_scans(view: JobView) -> tuple[ScanRow, ...]:
    """The scans that count: the highest take of every part and role."""
    return standing(view.scans, view.listed).used


def parts(view: JobView) -> tuple[ScanRow, ...]:
    """The scans that count and show the work itself."""
    return standing(view.scans, view.listed).parts


def said(view: JobView, level: Level) -> tuple[Said, ...]:
    """All findings of one level, of the scans that count and of the job, what costs most first; the same sentence on
    one scan (both ways across it) once."""
    scans = used_scans(view)
    of_scans = [Said(f, scan, view.missing) for scan in scans for f in scan.findings]
    known = {f for scan in scans for f in scan.findings}
    of_job = [Said(f, None, view.missing) for f in view.row.findings if f not in known]
    ordered = sorted((s for s in of_job + of_scans if s.finding.level is level), key=_cost)
    return tuple({(s.scan.id if s.scan else 0, s.finding.text): s for s in reversed(ordered)}.values())[::-1]


def faults(view: JobView) -> tuple[Said, ...]:
    """What sends the job to rework, what costs most first."""
    return said(view, Level.FAULT)


def to_look_at(view: JobView) -> tuple[Said, ...]:
    """What could not be judged and holds the work back until somebody has looked; what has one reason is said in one
    sentence."""
    found: dict[tuple[int, str, Where | None], list[Said]] = {}
    for one in (s for s in said(view, Level.UNDECIDED) if holds_back(s.finding)):
        reason = one.finding.text.partition(NOT_JUDGED)[2] or one.finding.text
        found.setdefault((one.scan.id if one.scan else 0, reason, one.finding.where), []).append(one)
    return tuple(_together(alike) for alike in found.values())


def _together(alike: list[Said]) -> Said:
    """'skew and margin could not be judged: REASON' for several with the same reason."""
    first = alike[0]
    if len(alike) == 1 or NOT_JUDGED not in first.finding.text:
        return first
    reason = first.finding.text.partition(NOT_JUDGED)[2]
    names = listing([one.finding.text.partition(NOT_JUDGED)[0] for one in alike])
    return replace(first, finding=replace(first.finding, text=f"{names}{NOT_JUDGED}{reason}"))


def takes(view: JobView) -> dict[str, int]:
    """Takes so far of each part of the work, closed ones too: the highest take, or the number of scans where more."""
    found: dict[str, list[ScanRow]] = {}
    for scan in view.scans:
        if scan.name and scan.name.role is Role.WORK:
            found.setdefault(scan.name.part, []).append(scan)
    return {part: _attempts(rows) for part, rows in found.items()}


def takes_words(view: JobView) -> str:
    """'L 1, R 2'."""
    return ", ".join(f"{shown(part)} {count}" for part, count in takes(view).items())


def is_third_take_next(view: JobView, part: str) -> bool:
    """Whether another scan of the part ('' = any) would be the third: then stop and decide."""
    found = takes(view)
    return max((found.get(part, 0) if part else 0, *(() if part else found.values())), default=0) >= 2


def due(view: JobView) -> str:
    """The due text of the job list, '' where there is none."""
    return shown(view.listed.due) if view.listed else ""


def due_order(view: JobView) -> tuple[date, str]:
    """Sorts jobs: earliest due first, those without a day last, then by number."""
    return due_day(due(view)) or date.max, view.row.job


def today(night: Night) -> date | None:
    """The day of the morning, in the studio."""
    found = local(night.until_utc, night.offset_s)
    return found.date() if found else None


def in_pile(night: Night, pile: Pile) -> tuple[JobView, ...]:
    """The jobs of one pile, due first. A job without an outcome is unfinished."""
    chosen = [v for v in night.jobs if v.pile is pile or (v.pile is None and pile is Pile.UNFINISHED)]
    return tuple(sorted(chosen, key=due_order))


def beds_of(view: JobView) -> tuple[str, ...]:
    """The beds its scans were made on, each once."""
    return tuple(dict.fromkeys(shown(scan.bed) for scan in used_scans(view) if scan.bed))


def work_words(view: JobView) -> str:
    """'acrylic, 680 x 840 mm' as the job list has it; '' where it has nothing."""
    listed = view.listed
    if listed is None:
        return ""
    size = f"{listed.width_mm:.0f} x {listed.height_mm:.0f} mm" if listed.width_mm and listed.height_mm else ""
    ordered = f"print {listed.print_mm:.0f} mm long" if listed.print_mm else ""
    return ", ".join(word for word in (shown(listed.medium), size, ordered) if word)


def title(view: JobView, day: date | None) -> str:
    """'SL-C405, due today, acrylic, 680 x 840 mm'."""
    return ", ".join(word for word in (shown(view.row.job), due_words(due(view), day), work_words(view)) if word)


def what_to_do(view: JobView) -> tuple[str, ...]:
    """The advice of all faults, each once; before a third take it is to stop."""
    advice = once(one.advice for one in faults(view))
    if not any(one.cautious and is_third_take_next(view, one.part) for one in faults(view)):
        return advice
    return (STOP, *(f"If it is decided to scan once more: {one[:1].lower()}{one[1:]}" for one in advice))


def decision_words(view: JobView, offset_s: int) -> tuple[str, ...]:
    """'accepted by Wren, Wed 25 Nov 07:00: agreed with the owner' for each decision."""
    found = []
    for one in view.decisions:
        because = f": {shown(one.because)}" if one.because else ""
        what = _DECIDED.get(one.what, shown(one.what))
        found.append(f"{what} by {shown(one.who)}, {day_and_clock(one.when_utc, offset_s)}{because}")
    return tuple(found)


def close_up(view: JobView) -> str:
    """Where the close-ups of a job lie, or its proof; '' where there is neither."""
    return shown(view.details or view.proof)


def unplaced_words(scan: ScanRow) -> str:
    """A file that was set aside, and why; which byte of it is missing stands in the record and in REASONS.txt."""
    told = _PATTERN.sub("does not follow the naming rule", _BYTES.sub("", shown(scan.reason)))
    return f"{shown(scan.file)}: {told or 'no reason is known'}"


def is_odd(staying: StayingRow) -> bool:
    """Whether a file that stays where it is deserves a word: links, pipes, unreadable files; not those left alone."""
    return staying.kind != LEFT_ALONE


def once(items: Iterable[str]) -> tuple[str, ...]:
    """Each text once, in the order of its first coming."""
    return tuple(dict.fromkeys(item for item in items if item))


_PATTERN = re.compile(r"does not fit [^;]*")
_BYTES = re.compile(r": (?:strip|tile) \d+ of \d+ of page \d+ should reach byte [\d,]+, the file ends at [\d,]+")
_DECIDED = {"accept": "accepted", "refuse": "refused", "release": "released", "place": "placed"}


def _attempts(rows: list[ScanRow]) -> int:
    return max(len({scan.sha256 for scan in rows}), *(scan.name.take for scan in rows if scan.name))


def _cost(one: Said) -> tuple[int, str]:
    key = f"{one.finding.check}.{one.finding.name}"
    for place, known in enumerate(_COST):
        if known in (key, one.finding.check):
            return place, one.part
    return len(_COST), one.part
