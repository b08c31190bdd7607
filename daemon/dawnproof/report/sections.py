"""The sections of the dashboard: what goes on, what waits, what is done, what was found, beds and room."""

from __future__ import annotations

from rich.text import Text

from ..model import ArrivingRow, JobState, JobView, Level, Night, Pile, Progress, ScanRow, Space, shown
from .account import Said, due, faults, in_pile, to_look_at, today
from .before_first import mark_words
from .figures import clock, clock_near, counted, due_words, listing, size, span
from .headlines import expected_due_first, waiting_words
from .keeping import unsent_words
from .layout import Cell, PartState, layout
from .night_axis import SHAPES
from .repeated import minor
from .screen import STRONG, line
from .verdict import last_verdict, scan_words

BAR = 16
QUEUED = "waiting"  # the state of a whole file whose turn to be measured has not come
MOST_OF_A_SCAN = 2  # findings told of one scan
PILE_WORDS = {
    Pile.MAY_GO_BACK: "back",
    Pile.LOOK_FIRST: "look first",
    Pile.SCAN_AGAIN: "again",
    Pile.DESK: "desk",
    Pile.UNFINISHED: "open",
}
_STATES = {PartState.THERE: "■", PartState.UNDECIDED: "?", PartState.FAULT: "x", PartState.MISSING: "·"}
_LEVELS = {Level.FAULT: "x", Level.UNDECIDED: "?", Level.NOTE: "-"}


def layout_picture(view: JobView) -> str:
    """A job's parts in one line: rows divided by a slash, '▐L■│R·▌'; whole sheets are one square."""
    rows = ["│".join(_cell(cell) for cell in row) for row in layout(view)]
    return f"▐{'╱'.join(rows)}▌"


def now(night: Night) -> tuple[Text, ...]:
    """What is measured, joined or filed, with progress and time left (a second terminal does not know them); then what
    is arriving."""
    busy = {progress.subject for progress in night.progress}
    coming = [row for row in night.arriving if row.file not in busy]
    queued = [shown(row.file) for row in coming if row.state == QUEUED]
    rows = [_progress(progress, night) for progress in night.progress]
    rows += [line(f"{'working':<10}", (shown(v.row.job), STRONG), f" {layout_picture(v)}  being joined and filed")
             for v in night.jobs if v.row.state is JobState.WORKING and v.row.job not in busy]  # fmt: skip
    rows += [_arriving(row, night) for row in coming if row.state != QUEUED]
    rows += [line(f"{'queued':<10}{counted(len(queued), 'file')}: {listing(queued, 3)}")] if queued else []
    return tuple(rows) or (line("at rest, watching the inbox"),)


def waiting(night: Night) -> tuple[Text, ...]:
    """Jobs with parts still to come: picture of the layout, for what, until when; then works never seen."""
    rows = []
    for view in in_pile(night, Pile.UNFINISHED):
        if view.row.waits_for:
            until = clock_near(view.row.waits_until_utc, night.until_utc, night.offset_s)
            told = f"{waiting_words(view)}{f' until {until}' if until else ''}"
            rows.append(line((f"{shown(view.row.job):<10}", STRONG), f"{layout_picture(view)} {told}"))
    if night.expected_not_seen:
        day = today(night)
        names = [
            " ".join(filter(None, (shown(j.job), due_words(shown(j.due), day)))) for j in expected_due_first(night)
        ]
        rows.append(line("never seen yet: ", listing(names, 4)))
    return tuple(rows)


def tonight(night: Night) -> tuple[Text, ...]:
    """How many jobs lie in each pile, with the pile's shape, and how many files have no place."""
    counts = [f"{SHAPES[pile]}{len(in_pile(night, pile))} {words}" for pile, words in PILE_WORDS.items()]
    aside = [f"!{len(night.unplaced)} no place"] if night.unplaced else []
    return (line("  ".join(counts + aside)),)


def done(night: Night, most: int) -> tuple[Text, ...]:
    """Judged jobs, `most` of them, what costs most first: shape of its pile, layout, due day, what holds it."""
    rows: list[Text] = []
    for pile in (Pile.SCAN_AGAIN, Pile.DESK, Pile.LOOK_FIRST, Pile.MAY_GO_BACK):
        for view in in_pile(night, pile)[: most - len(rows)]:
            why = (faults(view) or to_look_at(view))[:1]
            part = f"{why[0].part_words}: " if why and why[0].scan else ""
            told = f"{part}{why[0].brief}" if why else waiting_words(view)
            when = due_words(due(view), today(night))
            words = "   ".join(word for word in (when, told) if word)
            name = (f"{shown(view.row.job):<10}", STRONG)
            rows.append(line(f"{SHAPES[pile]} ", name, f"{layout_picture(view):<12} {words}"))
    return tuple(rows)


def found(night: Night, most: int) -> tuple[Text, ...]:
    """The last findings of the `most` newest jobs, newest first, each with the one figure that matters."""
    told: list[tuple[str, str, Said]] = []
    newest = sorted(night.jobs, key=lambda view: max((s.admitted_utc for s in view.scans), default=""), reverse=True)
    for view in newest[:most]:
        notes = (one for one in minor(view) if one.scan and one.finding.level is Level.NOTE)
        taken: dict[int, int] = {}
        for one in (*faults(view), *to_look_at(view), *notes):
            scan = one.scan.id if one.scan else 0
            taken[scan] = taken.get(scan, 0) + 1
            if taken[scan] <= MOST_OF_A_SCAN:
                when = one.scan.admitted_utc if one.scan else view.row.judged_utc
                told.append((when, _scan(one.scan) if one.scan else shown(view.row.job), one))
    told.sort(key=lambda entry: entry[0], reverse=True)
    rows = [line(f"{clock(when, night.offset_s)} {_LEVELS[one.finding.level]} ", (name, STRONG), f"  {one.brief}")
            for when, name, one in told]  # fmt: skip
    return tuple(rows) or (line("nothing found yet"),)


def beds(night: Night) -> tuple[Text, ...]:
    """Each bed with its state, its last arrival and what was said of it."""
    rows = []
    for bed in night.beds:
        arriving = [row for row in night.arriving if row.bed == bed.name]
        verdict = last_verdict(night, bed.name)
        state = "scanning" if arriving else "quiet"
        told = (
            f"last {clock(verdict.when_utc, night.offset_s)} {verdict.line.removesuffix(', leave it')}"
            if verdict
            else "nothing came yet"
        )
        rows.append(line((f"{shown(bed.name):<10}", STRONG), f"{state:<9}{told}"))
    return tuple(rows)


def glass(night: Night) -> tuple[Text, ...]:
    """What stands at the same place of a bed in two works running: on the glass or the sensor, not on the work."""
    return tuple(line(f"{shown(mark.bed)}: {mark_words(mark)}") for mark in night.marks)


def room(night: Night) -> tuple[Text, ...]:
    """Space left on each disk, as hours at tonight's rate."""
    return (line("   ".join(_room(space) for space in night.space)),) if night.space else ()


def mail(night: Night) -> tuple[Text, ...]:
    """The letter that could not be sent, the newest where there are several; nothing while the post goes well."""
    return tuple(line(unsent_words(row, night)) for row in night.mails[-1:])


def helpers(night: Night) -> tuple[Text, ...]:
    """What happened last on the computers that help: where a task went when one of them left it; nothing else."""
    told = sorted((e for e in night.events if e.kind == "cluster"), key=lambda event: event.when_utc)
    return tuple(line(f"{clock(e.when_utc, night.offset_s)} {shown(e.text)}") for e in told[-1:])


def seen(night: Night) -> tuple[Text, ...]:
    """The last lines of the night, newest first."""
    newest = sorted(night.events, key=lambda event: event.when_utc, reverse=True)
    return tuple(line(f"{clock(e.when_utc, night.offset_s)} {shown(e.text)}") for e in newest[:40])


def _progress(progress: Progress, night: Night) -> Text:
    share = min(max(progress.share, 0.0), 1.0)
    left = f", {span(progress.seconds / share * (1 - share))} left" if share > 0.02 else ""
    bar = "█" * round(share * BAR)
    picture = next((f" {layout_picture(v)}" for v in night.jobs if v.row.job == progress.subject), "")
    helper = f" on {shown(progress.helper)}" if progress.helper else ""
    return line(f"{shown(progress.what):<10}{bar:░<{BAR}} {share * 100:3.0f} %{left}  ",
                (shown(progress.subject), STRONG), f"{picture}{helper}")  # fmt: skip


def _arriving(row: ArrivingRow, night: Night) -> Text:
    why = f", {shown(row.reason)}" if row.reason else ""
    told = f"  {size(row.size_bytes)} on {shown(row.bed)} since {clock(row.since_utc, night.offset_s)}{why}"
    return line(f"{shown(row.state):<10}", (shown(row.file), STRONG), told)


def _room(space: Space) -> str:
    folder = shown(space.folder).rstrip("/").rpartition("/")[2] or shown(space.folder)
    left = f"{space.hours_left:.0f} h left" if space.hours_left is not None else "nothing written yet"
    return f"{folder} {left} ({size(space.free_bytes)})"


def _scan(scan: ScanRow) -> str:
    take = f" take {scan.name.take}" if scan.name and scan.name.take > 1 else ""
    return scan_words(scan) + take


def _cell(cell: Cell) -> str:
    return f"{cell.label}{_STATES[cell.state]}" if len(cell.label) == 1 else _STATES[cell.state]
