"""What the scanner needs before the first scan: one sentence a bed, with the values to set."""

from __future__ import annotations

from ..model import JobView, Level, Night, RecurringMark, ScanRow, shown
from .account import Said, beds_of, faults, said
from .figures import listing
from .mend import to_set

LOW_HOURS = 12.0  # less room than one more night
SIDES = (
    "Left and top are those of the scan as the screen shows it. Where works lie face down, left and right are "
    "exchanged for who stands before the bed with the top of the scan away from them"
)


def scanner_needs(night: Night) -> tuple[str, ...]:
    """What to do before the first scan, a sentence a bed, then room on the disks."""
    found: dict[str, list[str]] = {shown(bed.name): [] for bed in night.beds}
    for steps in (_marks(night), _references(night), _settings(night), _exposure(night), _stitches(night)):
        for bed, words in steps:
            found.setdefault(bed, []).append(words)
    lines = [f"{bed or 'The scanner'}: {'; '.join(words)}" for bed, words in found.items() if words]
    return (*lines, *_room(night))


def mark_words(mark: RecurringMark) -> str:
    """'streak 33 mm from the left (SL-0416 and SL-0417)'."""
    return f"{_mark_place(mark)} ({listing([shown(job) for job in mark.jobs])})"


def names_a_side(needs: tuple[str, ...]) -> bool:
    """Whether it has to be said which side is the left one."""
    return any("from the left" in words for words in needs)


def _mark_place(mark: RecurringMark) -> str:
    along = "" if mark.y_mm is None else f" and {mark.y_mm:.0f} mm from the top"
    kind = {"soft": "soft place"}.get(mark.kind, shown(mark.kind))
    return f"{kind} {mark.x_mm:.0f} mm from the left{along}"


def _marks(night: Night) -> list[tuple[str, str]]:
    by_bed: dict[str, list[str]] = {}
    for mark in night.marks:
        by_bed.setdefault(shown(mark.bed), []).append(_mark_place(mark))
    return [(bed, f"clean the glass, {listing(places, 4)}") for bed, places in by_bed.items()]


def _references(night: Night) -> list[tuple[str, str]]:
    newest: dict[str, ScanRow] = {scan.bed: scan for scan in sorted(night.references, key=lambda s: s.admitted_utc)}
    found = []
    for bed, scan in newest.items():
        for finding in scan.findings:
            if finding.level in {Level.FAULT, Level.NOTE} and finding.check in {"light", "streaks"}:
                advice = shown(finding.advice).rstrip(".")
                told = f"{advice[:1].lower()}{advice[1:]} ({shown(finding.text)})" if advice else shown(finding.text)
                found.append((shown(bed), told))
    return found


def _settings(night: Night) -> list[tuple[str, str]]:
    """(bed, 'set 400 ppi or more (SL-0410: only 166 ppi on the print)'), each setting of a bed once."""
    wrong: dict[tuple[str, str], dict[str, str]] = {}
    for view, one in _faulty(night):
        words = to_set(one.finding.check, one.finding.name, view.asked)
        if words:
            bed = shown(one.scan.bed) if one.scan and one.scan.bed else ""
            wrong.setdefault((bed, words), {}).setdefault(shown(view.row.job), one.brief)
    return [(bed, f"{words} ({listing([f'{job}: {why}' for job, why in jobs.items()], 3)})")
            for (bed, words), jobs in wrong.items()]  # fmt: skip


def _exposure(night: Night) -> list[tuple[str, str]]:
    clipped: dict[str, dict[str, str]] = {}
    for view, one in _faulty(night):
        if one.finding.check == "clipping":
            bed = shown(one.scan.bed) if one.scan and one.scan.bed else ""
            clipped.setdefault(bed, {}).setdefault(shown(view.row.job), one.brief)
    return [(bed, f"lower the exposure ({listing([f'{job}: {why}' for job, why in jobs.items()], 3)})")
            for bed, jobs in clipped.items()]  # fmt: skip


def _faulty(night: Night) -> list[tuple[JobView, Said]]:
    return [(view, one) for view in night.jobs for one in faults(view)]


def _stitches(night: Night) -> list[tuple[str, str]]:
    uneven: dict[str, list[str]] = {}
    for view in night.jobs:
        if any((s.finding.check, s.finding.name) == ("seam", "step") for s in said(view, Level.FAULT)):
            for bed in beds_of(view):
                uneven.setdefault(bed, []).append(shown(view.row.job))
    advice = "run the white calibration, tone step at the stitch"
    return [(bed, f"{advice} ({listing(jobs)})") for bed, jobs in uneven.items()]


def _room(night: Night) -> list[str]:
    return [
        f"Make room: {shown(space.folder)} holds {space.hours_left:.0f} h more at this night's rate"
        for space in night.space
        if space.hours_left is not None and space.hours_left < LOW_HOURS
    ]
