"""The one-page sheet that goes to the scanner in the morning: what to do first, then what to scan again, by bed and
due day, with the value to set, the name to save under, and the cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from math import inf

from markupsafe import Markup

from ..advice import CAUTIONS
from ..model import JobView, ListedJob, Night, Pile, ScanRow, Where, shown
from ..naming import spelled
from .account import (
    Said,
    beds_of,
    due,
    due_order,
    faults,
    in_pile,
    is_third_take_next,
    parts,
    takes,
    takes_words,
    today,
    work_words,
)
from .before_first import SIDES, names_a_side, scanner_needs
from .drawing import draw_scan
from .figures import day_and_clock, due_words, listing
from .headlines import expected_due_first, listed_order, set_aside_for
from .in_brief import place
from .lines import Lines, sentence
from .mend import mend_words, next_file
from .paper import render

STOP_WORDS = "STOP, third take: decide with the owner or a conservator first"
PICTURE_PX = 92.0


@dataclass(frozen=True, slots=True)
class Again:
    """One line of the sheet: a part to scan, or to scan again."""

    bed: str
    due: str  # 'today', 'Fri 27 Nov'
    job: str
    part: str
    work: str  # medium and size where the job list has them
    what: str  # at most seven words
    do: str  # in few words, with the value to set
    save: str  # names to save the new scan under; '' where the naming rule is not known
    where: str  # in mm on the scan, as the page has it
    takes: str
    order: tuple[date, str]
    picture: Markup | None = None
    picture_of: str = ""  # the part it shows where it is another one


def scan_again(night: Night) -> tuple[Again, ...]:
    """One line a part, by bed, then due day; a part and a work that never came have a line too."""
    lines = [line for view in in_pile(night, Pile.SCAN_AGAIN) for line in _faulty(view, night)]
    lines += [line for pile in (Pile.SCAN_AGAIN, Pile.UNFINISHED) for view in in_pile(night, pile)
              for line in _missing(view, night)]  # fmt: skip
    lines += [_never_seen(job, night) for job in expected_due_first(night)]
    return tuple(sorted(lines, key=lambda line: (not line.bed, line.bed, line.order, line.part)))


def scan_again_text(night: Night) -> str:
    """The sheet as text, to be printed with any printer: a box to tick, the facts, and lines to write on."""
    page, found = Lines(), scan_again(night)
    page.say(_title(night))
    for number, words in enumerate(before_first(night)):
        page.say(f"{'' if number else 'Before the first scan: '}{sentence(words)}", "  " if number else "! ", 2)
    for bed, entries in groupby(found, key=lambda line: line.bed):
        page.rule(bed or "any bed")
        for entry in entries:
            page.say(f"{entry.job} {entry.part}{f', due {entry.due}' if entry.due else ''}: {entry.what}", "[ ] ")
            for name, words in (("work", entry.work), ("do", entry.do), ("save as", entry.save),
                                ("where", entry.where), ("takes so far", entry.takes)):  # fmt: skip
                page.say(f"{name}: {words}" if words else "", "    ")
            page.say(BLANK, "    ")
            page.gap()
    if not found:
        page.gap()
        page.say("Nothing has to be scanned again.")
        return page.text
    page.rule("Cautions")
    for caution in CAUTIONS:
        page.say(caution, "- ")
    return page.text


BLANK = "condition before ________________ after ________________ initials ____"


def scan_again_html(night: Night) -> str:
    """The same sheet as one printable page."""
    found = scan_again(night)
    groups = [(bed, list(entries)) for bed, entries in groupby(found, key=lambda line: line.bed)]
    return render("scan_again.html", title=_title(night), groups=groups, before=before_first(night),
                  cautions=CAUTIONS if found else ())  # fmt: skip


def before_first(night: Night) -> tuple[str, ...]:
    """What the scanner needs before the first scan, and which side is the left one where a place is named."""
    needs = scanner_needs(night)
    return (*needs, SIDES) if names_a_side(needs) else needs


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
    labels = [first.name.part] if first.name else list(takes(view))
    do = "; ".join(dict.fromkeys(words for one in found if (words := mend_words(one, view.asked))))
    stop = f"{STOP_WORDS}. Then: " if first.cautious and is_third_take_next(view, part) else ""
    count = str(takes(view).get(first.name.part, 1)) if first.name else takes_words(view) or "1"
    picture, _ = _picture(view, found)
    return Again(bed, _due(view, night), shown(view.row.job), part or "all parts", work_words(view),
                 first.brief + more, stop + do, listing([n for p in labels if (n := next_file(view, p))], 4),
                 _where(first.finding.where), count, due_order(view), picture)  # fmt: skip


def _missing(view: JobView, night: Night) -> list[Again]:
    bed = "".join(beds_of(view)[:1])
    picture, of = _picture(view, ())
    do = "scan it, overlapping its neighbour by 10 to 20 % of the width, in the same light and the same way up"
    told = f"there is {takes_words(view)}" if takes_words(view) else ""
    return [Again(bed, _due(view, night), shown(view.row.job), shown(part), work_words(view), "never scanned", do,
                  next_file(view, part.partition(" (")[0]), "", f"0 ({told})" if told else "0", due_order(view),
                  picture, of) for part in view.missing]  # fmt: skip


def _never_seen(job: ListedJob, night: Night) -> Again:
    """A work of the job list without a scan: its file may lie among those set aside."""
    labels = _labels(job.parts) or ("whole",)
    pattern = night.asked.naming
    names = [shown(spelled(pattern, job.job, part)) for part in labels] if pattern else []
    aside = [shown(scan.file) for scan in set_aside_for(job, night)]
    do = _found_or_scanned(listing(aside, 2), len(labels) > 1) if aside else "find the file, or scan"
    size = f"{job.width_mm:.0f} x {job.height_mm:.0f} mm" if job.width_mm and job.height_mm else ""
    work = ", ".join(word for word in (shown(job.medium), size) if word)
    when = due_words(shown(job.due), today(night)).removeprefix("due ")
    order = listed_order(job)
    return Again("", when, shown(job.job), ", ".join(shown(p) for p in labels), work, "never seen", do,
                 listing(names, 4), "", "0", order)  # fmt: skip


def _found_or_scanned(files: str, several: bool) -> str:
    """One good file must not pass for the whole of a work in parts."""
    if several:
        return f"see which part {files}, set aside, may be; scan every part that has no file"
    return f"see whether {files}, set aside, is whole; else scan"


def _labels(listed: Sequence[str]) -> tuple[str, ...]:
    """Part labels of the job list, a grid written out."""
    grid = listed[0].lower().split("x") if len(listed) == 1 else []
    if len(grid) == 2 and all(side.isdigit() and 0 < int(side) < 10 for side in grid):
        return tuple(f"r{r}c{c}" for r in range(1, int(grid[0]) + 1) for c in range(1, int(grid[1]) + 1))
    return tuple(listed)


def _picture(view: JobView, found: Sequence[Said]) -> tuple[Markup | None, str]:
    """The scan that is spoken of with its places marked; of a part that never came another part, named."""
    scan: ScanRow | None = next((one.scan for one in found if one.scan), None) or next(iter(parts(view)), None)
    if scan is None:
        return None, ""
    numbered = [(number, one) for number, one in enumerate(found, 1) if one.scan is scan]
    return draw_scan(scan, inf, numbered, PICTURE_PX, plain=True), f"part {shown(scan.name.part)}" if scan.name else ""


def _due(view: JobView, night: Night) -> str:
    return due_words(due(view), today(night)).removeprefix("due ")


def _where(where: Where | None) -> str:
    return place(where) if where else ""
