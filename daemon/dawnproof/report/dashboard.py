"""The night on a terminal: alarms, what may be done with the last work, the night along the bed's travel, what goes on
now, what waits, what is done. The same night and size give the same screen."""

from __future__ import annotations

from rich.text import Text

from ..model import EventRow, Night, shown
from .bed_map import last_on_bed
from .figures import clock, day_and_clock
from .large_word import ROWS, large
from .night_axis import SHAPE_WORDS, Axis, arrivals, axis, heavier
from .screen import ALARM, GUTTER, STRONG, Section, beside, fitted, line, stacked, whole, wrapped
from .sections import beds, done, found, glass, helpers, mail, now, room, seen, tonight, waiting
from .verdict import Word, last_verdict
from .watch_kept import began_late, gaps, runs_of

WIDE = 140  # from here on two columns
LEAST_NIGHT_H = 12.0
MOST_ALARMS = 3


def dashboard(night: Night, width: int, height: int) -> Text:
    """The whole screen: exactly `height` lines of `width` columns, made for 80 x 24 and more."""
    rows = [fitted(row, width) for row in (*_alarms(night, width), _title(night), *_verdict(night, width))]
    rows += [fitted(row, width) for row in _strip(night, width, roomy=height >= 34)]
    left = height - len(rows)
    if left > 0:
        rows += _wide(night, width, left) if width >= WIDE else _narrow(night, width, left)
    return whole(rows[:height])


def event_line(event: EventRow) -> str:
    """One line of the log: UTC time, kind, job, words."""
    job, words = shown(event.job), shown(event.text)
    name = "" if not job or words.startswith(job) else f"{job}: "
    return f"{shown(event.when_utc)[:19]}Z {shown(event.kind)}: {name}{words}"


def _alarms(night: Night, width: int) -> list[Text]:
    rows = []
    for alarm in night.alarms[:MOST_ALARMS]:
        for number, words in enumerate(wrapped(shown(alarm), width - 14, 2)):
            rows.append(line((f"{' !! ALARM !! ' if number == 0 else ' ' * 13}{words}".ljust(width), ALARM)))
    if len(night.alarms) > MOST_ALARMS:
        more = f" !! ALARM !! and {len(night.alarms) - MOST_ALARMS} more; see `dawnproof morning`"
        rows.append(line((more.ljust(width), ALARM)))
    return rows


def _title(night: Night) -> Text:
    when, runs, broken = day_and_clock(night.until_utc, night.offset_s), runs_of(night), gaps(night)
    begun = clock(began_late(night) or night.since_utc, night.offset_s)
    watched = f"watching since {begun}" if runs else "not running"
    if broken:
        begin, end = (clock(utc, night.offset_s) for utc in (broken[-1].from_utc, broken[-1].to_utc))
        watched = f"not watched {begin} to {end}"
    return line((f" {shown(night.studio)}", STRONG), f"   {when}   {watched}")


def _verdict(night: Night, width: int) -> list[Text]:
    """The newest scan in large letters; while it waits, the one judged before it beneath."""
    verdict = last_verdict(night)
    if verdict is None:
        return [line(), line(" nothing scanned yet: the inbox is watched"), line()]
    before = last_verdict(night, judged=True) if verdict.word is Word.WAIT else None
    letters = large(verdict.word.value) if verdict.word is not Word.NONE else ("",) * ROWS
    columns = width - len(letters[0]) - 5
    words = wrapped(verdict.line, columns, ROWS - 1 if before else ROWS)
    words = ["", *words] if len(words) == 1 and not before else words
    told = [(row, STRONG) for row in words]
    if before:
        told += [(row, "") for row in wrapped(f"before: {before.line}", columns, ROWS - len(words))]
    elif len(told) < ROWS:
        told.append((f"{clock(verdict.when_utc, night.offset_s)} on {shown(verdict.bed)}", ""))
    told += [("", "")] * (ROWS - len(told))
    return [line(" ", (f"{row}   " if row else "", STRONG), said) for row, said in zip(letters, told, strict=True)]


def _strip(night: Night, width: int, roomy: bool) -> list[Text]:
    """The beds as lengths, the sensor bar at the present moment, a rule of hours beneath."""
    rule = axis(night, LEAST_NIGHT_H)
    if rule is None or not night.beds:
        return []
    columns = width - GUTTER - 3
    rows = [line()] if roomy else []
    rows += [_bed_strip(night, bed.name, rule, columns) for bed in night.beds]
    rows.append(_rule_row(rule, columns, night))
    return [*rows, line(f"{'':<{GUTTER}}  {SHAPE_WORDS}  ┃ now"), line()] if roomy else rows


def _bed_strip(night: Night, bed: str, rule: Axis, columns: int) -> Text:
    cells = ["─"] * columns
    present = _column(rule, night, columns)
    for place in range(present + 1, columns):
        cells[place] = "·"
    shapes: dict[int, str] = {}
    for arrival in arrivals(night, bed, rule):
        place = min(round(arrival.share * (columns - 1)), present)
        shapes[place] = heavier(shapes.get(place, arrival.shape), arrival.shape)
    for place, shape in shapes.items():
        cells[place] = shape
    cells[min(present + 1, columns - 1)] = "┃"
    return line((f" {shown(bed)[: GUTTER - 2]:<{GUTTER - 1}}", STRONG), "├", "".join(cells), "┤")


def _column(rule: Axis, night: Night, columns: int) -> int:
    until = axis(night)
    return round(rule.share(until.end) * (columns - 1)) if until else columns - 1


def _rule_row(rule: Axis, columns: int, night: Night) -> Text:
    cells = [" "] * (columns + 2)
    for tick in rule.ticks(columns // 8):
        place = round(tick.share * (columns - 1)) + 1
        words = f"╵{tick.words}"
        if place + len(words) <= len(cells):
            cells[place : place + len(words)] = words
    return line(f"{'':<{GUTTER}}", "".join(cells))


def _narrow(night: Night, width: int, height: int) -> list[Text]:
    sections = (
        Section("now", now(night), 3),
        Section("waiting", waiting(night), 2),
        Section("tonight", tonight(night), 1),
        Section("found", found(night, 40), 2),
        Section("beds", beds(night), max(len(night.beds), 1)),
        Section("clean", glass(night), 1),
        Section("space", room(night), 1),
        Section("mail", mail(night), 1),
        Section("helpers", helpers(night), 1),
    )
    return stacked(sections, width, height, spaced=height > 30)


def _wide(night: Night, width: int, height: int) -> list[Text]:
    left = (width - 1) // 2
    right = width - 1 - left
    going_on = (
        Section("now", now(night), 3),
        Section("waiting", waiting(night), 3),
        Section("tonight", tonight(night), 1),
        Section("done", done(night, height), 4),
        Section("events", seen(night), 3),
    )
    told = (
        Section("space", room(night), 1),
        Section("mail", mail(night), 1),
        Section("helpers", helpers(night), 1),
        Section("beds", beds(night), 2),
        Section("clean", glass(night), 1),
        Section("found", found(night, 40)[:10], 6),
        Section("on bed", last_on_bed(night, right - GUTTER, height - 20), 8),
    )
    return beside(stacked(going_on, left, height, spaced=True), stacked(told, right, height, spaced=True))
