"""The one-page sheet that goes to the scanner in the morning: what to scan again, by bed, then by due day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import groupby

from ..model import JobView, Night, Pile, Where, shown
from .account import Said, beds_of, due, due_order, faults, in_pile, is_third_take_next, takes, today
from .figures import day_and_clock, due_words, reach
from .in_brief import most_at
from .paper import render

STOP_WORDS = "stop, decide first"


@dataclass(frozen=True, slots=True)
class Again:
    """One line of the sheet: a part to scan, or to scan again."""

    bed: str
    due: str
    job: str
    part: str
    what: str  # at most seven words
    where: str  # in mm on the scan
    takes: str
    order: tuple[date, str]


def scan_again(night: Night) -> tuple[Again, ...]:
    """One line a part, by bed, then due day; a part that never came has a line too."""
    lines = [line for view in in_pile(night, Pile.SCAN_AGAIN) for line in _faulty(view, night)]
    lines += [line for pile in (Pile.SCAN_AGAIN, Pile.UNFINISHED) for view in in_pile(night, pile)
              for line in _missing(view, night)]  # fmt: skip
    return tuple(sorted(lines, key=lambda line: (line.bed, line.order, line.part)))


def scan_again_text(night: Night) -> str:
    """The sheet as text, to be printed with any printer: a box to tick, the facts, and lines to write on."""
    lines = [_title(night), "Condition before and after: look at the work under the lamp, write down what you see.", ""]
    for bed, entries in groupby(scan_again(night), key=lambda line: line.bed):
        lines += [f"{bed or 'any bed'}", "-" * 78]
        for entry in entries:
            facts = ", ".join(word for word in (entry.due, f"takes so far {entry.takes}") if word)
            lines += [f"[ ] {entry.job} {entry.part}: {entry.what}", f"    {facts}"]
            lines += [f"    where: {entry.where}"] if entry.where else []
            lines += ["    condition before ________________ after ________________ initials ____", ""]
    if len(lines) == 3:
        lines.append("Nothing has to be scanned again.")
    return "\n".join(lines).rstrip("\n") + "\n"


def scan_again_html(night: Night) -> str:
    """The same sheet as one printable page."""
    groups = [(bed, list(entries)) for bed, entries in groupby(scan_again(night), key=lambda line: line.bed)]
    return render("scan_again.html", title=_title(night), groups=groups)


def _title(night: Night) -> str:
    return f"To scan again, {shown(night.studio)}, {day_and_clock(night.until_utc, night.offset_s)}"


def _faulty(view: JobView, night: Night) -> list[Again]:
    by_part: dict[str, list[Said]] = {}
    for one in faults(view):
        if (one.finding.check, one.finding.name) != ("job", "missing"):
            by_part.setdefault(one.part, []).append(one)
    return [_line(view, night, part, found) for part, found in by_part.items()]


def _line(view: JobView, night: Night, part: str, found: list[Said]) -> Again:
    first = found[0]
    more = f" (+{len(found) - 1})" if len(found) > 1 else ""
    bed = shown(first.scan.bed) if first.scan else "".join(beds_of(view)[:1])
    count = takes(view).get(first.name.part, 1) if first.name else max(takes(view).values(), default=1)
    stop = f"; {STOP_WORDS}" if first.cautious and is_third_take_next(view, part) else ""
    return Again(bed, _due(view, night), shown(view.row.job), part or "all parts", first.brief + more,
                 _where(first.finding.where), f"{count}{stop}", due_order(view))  # fmt: skip


def _missing(view: JobView, night: Night) -> list[Again]:
    bed = "".join(beds_of(view)[:1])
    return [Again(bed, _due(view, night), shown(view.row.job), shown(part), "never scanned", "", "0", due_order(view))
            for part in view.missing]  # fmt: skip


def _due(view: JobView, night: Night) -> str:
    return due_words(due(view), today(night))


def _where(where: Where | None) -> str:
    if where is None:
        return ""
    along = f"{most_at(where):.0f} mm" if where.profile else reach(where.y_mm, where.height_mm)
    return f"{reach(where.x_mm, where.width_mm)} from left, {along} from top"
