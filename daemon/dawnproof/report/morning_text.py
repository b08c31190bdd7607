"""The morning as text: five lines, the piles with their counts, then each job from what costs most to what is well."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from ..advice import CAUTIONS
from ..model import JobView, Night, Pile, shown
from .account import (
    close_up,
    decision_words,
    due,
    faults,
    in_pile,
    takes_words,
    title,
    to_look_at,
    today,
)
from .figures import clock_near, counted, day_and_clock, due_words, listing
from .headlines import good_sentence, headlines, is_good, stay_words, waiting_words
from .in_brief import place
from .keeping import file_lines, keeping_lines, place_orders, scanner_lines, times_lines
from .lines import Lines, sentence
from .mend import save_words, steps
from .orders import OCCASIONS, orders
from .prints import print_words
from .repeated import Repeated, own_notes, repeated, unjudged
from .takes_compared import comparisons, two_pictures

PILES = (
    (Pile.MAY_GO_BACK, "May go back", "nothing found against returning it"),
    (Pile.LOOK_FIRST, "Look first", "archived; look at the close-up before the work leaves"),
    (Pile.SCAN_AGAIN, "Scan again", "the work must stay"),
    (Pile.DESK, "Mend at the desk", "a matter for the desk; no new scan is needed"),
    (Pile.UNFINISHED, "Unfinished", "parts still to come; the work must stay"),
)


def summary_text(night: Night) -> str:
    """The whole morning as text, lines of at most 78 columns where no longer word stands in them."""
    page, common = Lines(), repeated(night)
    _head(page, night)
    _piles(page, night)
    _block(page, "FILES SET ASIDE", file_lines(night))
    for order in place_orders(night):
        page.keep(f"  $ {order}")
    _redo(page, night, Pile.SCAN_AGAIN, "SCAN AGAIN")
    _redo(page, night, Pile.DESK, "MEND AT THE DESK")
    _look(page, night)
    _unfinished(page, night)
    _back(page, night, common)
    _block(page, "THE SCANNER", scanner_lines(night))
    _block(page, "KEEPING", (*keeping_lines(night), *times_lines(night)))
    _block(page, "SAID ONCE, NO DECISION HANGS ON IT", (*(one.words for one in common), *unjudged(night, common)))
    return page.text


def _head(page: Lines, night: Night) -> None:
    page.say(f"{shown(night.studio)}, morning of {day_and_clock(night.until_utc, night.offset_s)}")
    page.gap()
    if is_good(night):
        page.say(good_sentence(night))
        return
    for line in headlines(night):
        page.say(sentence(line.answer), "- " if line.well else "! ")


def back_words(view: JobView, common: tuple[Repeated, ...], day: date | None) -> str:
    """'SL-C403 (due Mon 30 Nov, 2 notes)'."""
    notes = len(own_notes(view, common))
    told = [due_words(due(view), day), counted(notes, "note") if notes else ""]
    inside = ", ".join(word for word in told if word)
    return f"{shown(view.row.job)} ({inside})" if inside else shown(view.row.job)


def _piles(page: Lines, night: Night) -> None:
    common = repeated(night)
    page.gap()
    for pile, words, meaning in PILES:
        views = in_pile(night, pile)
        page.say(meaning if views else "none", f"{words:<17}{len(views):>3}  ", 22)
        if pile is Pile.MAY_GO_BACK:
            page.say(listing([back_words(view, common, today(night)) for view in views], 60), " " * 22)
        else:
            for view in views:
                page.say(stay_words(view, night), " " * 22, 24)


def _redo(page: Lines, night: Night, pile: Pile, heading: str) -> None:
    views = in_pile(night, pile)
    if not views:
        return
    page.rule(heading)
    for view in views:
        page.gap()
        _job(page, view, night)
    _orders(page, pile, night)
    if any(one.cautious for view in views for one in faults(view)):
        page.gap()
        page.say("Cautions for every rescan")
        for caution in CAUTIONS:
            page.say(caution, "  - ")


def _job(page: Lines, view: JobView, night: Night) -> None:
    """One job to redo: what is wrong, which part, where in mm, what to do, takes so far."""
    page.say(title(view, today(night)), "", 4)
    for one in faults(view):
        page.say(f"{one.part_words}: {one.text}", "  x ")
        if one.finding.where is not None:
            page.say(f"where: {place(one.finding.where)}", "    ")
    for one in to_look_at(view):
        page.say(f"{one.part_words}: {one.text}", "  ? ")
    if view.pile is Pile.DESK:
        for one in own_notes(view, ()):
            page.say(f"note, {one.part_words}: {one.text}", "    ", 6)
        for words in two_pictures(view, night.offset_s):
            page.say(words, "    ", 6)
    for advice in steps(view):
        page.say(sentence(advice), "  > ")
    for words in save_words(view):
        page.say(words, "  > ")
    if takes_words(view):
        page.say(f"takes so far: {takes_words(view)}", "    ")
    _ends(page, view, night)


def _look(page: Lines, night: Night) -> None:
    views = in_pile(night, Pile.LOOK_FIRST)
    if views:
        page.rule("LOOK FIRST")
    for view in views:
        page.gap()
        page.say(title(view, today(night)), "", 4)
        page.say(waiting_words(view), "  ? ")
        for one in to_look_at(view):
            where = f"; look at {place(one.finding.where)}" if one.finding.where else ""
            page.say(f"{one.part_words}: {one.text}{where}", "  ? ")
        if close_up(view):
            page.say(f"close-up: {close_up(view)}", "    ")
        page.say(print_words(view.row.print_sizes), "    ", 6)
        _ends(page, view, night)
    _orders(page, Pile.LOOK_FIRST, night)


def _unfinished(page: Lines, night: Night) -> None:
    views = in_pile(night, Pile.UNFINISHED)
    if views:
        page.rule("UNFINISHED")
    for view in views:
        until = clock_near(view.row.waits_until_utc, night.until_utc, night.offset_s)
        waits = waiting_words(view) or view.row.state.value
        page.say(f"{title(view, today(night))}: {waits}{f', until {until}' if until else ''}", "", 4)
        for one in faults(view):
            page.say(f"{one.part_words}: {one.text}", "  x ")


def _back(page: Lines, night: Night, common: tuple[Repeated, ...]) -> None:
    views = in_pile(night, Pile.MAY_GO_BACK)
    if views:
        page.rule("MAY GO BACK")
    for view in views:
        page.say(title(view, today(night)), "", 4)
        if view.row.version > 1:
            page.say(f"version {view.row.version}; the earlier ones stay as they are", "    ", 6)
        page.say(print_words(view.row.print_sizes), "    ", 6)
        for one in faults(view):
            page.say(f"accepted with: {one.part_words}: {one.text}", "    ", 6)
        for one in own_notes(view, common):
            page.say(f"note, {one.part_words}: {one.text}", "    ", 6)
        _ends(page, view, night)
    _orders(page, Pile.MAY_GO_BACK, night)


def _orders(page: Lines, pile: Pile, night: Night) -> None:
    """How a person decides otherwise, as commands to copy."""
    lines = orders(pile, in_pile(night, pile), night)
    if lines:
        page.gap()
        page.say(OCCASIONS[pile])
    for line in lines:
        page.keep(f"  $ {line}")


def _ends(page: Lines, view: JobView, night: Night) -> None:
    for comparison in comparisons(view):
        page.say(comparison.words, "    ", 6)
    for words in decision_words(view, night.offset_s):
        page.say(words, "    ", 6)


def _block(page: Lines, heading: str, lines: Sequence[str]) -> None:
    if lines:
        page.rule(heading)
    for words in lines:
        page.say(words, "", 4)
