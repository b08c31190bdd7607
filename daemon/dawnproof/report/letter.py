"""The morning by mail: a subject that says what to do, and the summary in brief as HTML that any mail program shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from ..model import JobView, Night, Pile, shown
from .account import faults, in_pile, title, to_look_at, today
from .figures import counted, day_and_clock, day_words, local
from .headlines import good_sentence, headlines, is_good, stay_words, waiting_words
from .lines import sentence
from .mend import steps
from .morning_text import PILES
from .paper import render

_SHORT = {
    Pile.SCAN_AGAIN: "to scan again",
    Pile.LOOK_FIRST: "to look at first",
    Pile.DESK: "to mend at the desk",
    Pile.UNFINISHED: "unfinished",
}


@dataclass(frozen=True, slots=True)
class Told:
    """One job in brief: its title, what was found, what to do."""

    title: str
    found: tuple[str, ...]
    advice: tuple[str, ...] = ()


def morning_subject(night: Night) -> str:
    """'Saltmarsh Lane, Wed 25 Nov: 4 to scan again, 1 to look at first, 5 may go back'."""
    when = local(night.until_utc, night.offset_s)
    day = day_words(when.date()) if when else ""
    told = [f"{len(night.expected_not_seen)} never seen"] if night.expected_not_seen else []
    told += [f"{len(in_pile(night, pile))} {words}" for pile, words in _SHORT.items() if in_pile(night, pile)]
    back = len(in_pile(night, Pile.MAY_GO_BACK))
    told = (["a good night"] if is_good(night) else told) + ([f"{back} may go back"] if back else [])
    told = told if night.jobs or night.expected_not_seen else ["no work came"]
    return f"{shown(night.studio)}, {day}: {', '.join(told)}"


def letter_html(night: Night, where: str) -> str:
    """The five lines, the piles, and each job that wants a hand. Styles stand at the elements: mail programs drop
    the others. `where` says where the page is."""
    redo = [_redo(view, night) for pile in (Pile.SCAN_AGAIN, Pile.DESK) for view in in_pile(night, pile)]
    look = [_look(view, night) for view in in_pile(night, Pile.LOOK_FIRST)]
    return render(
        "letter.html", title=f"{shown(night.studio)}, morning of {day_and_clock(night.until_utc, night.offset_s)}",
        good=good_sentence(night) if is_good(night) else "", headlines=headlines(night), where=where,
        piles=[(words, [stay_words(view, night) if pile is not Pile.MAY_GO_BACK else shown(view.row.job)
                        for view in in_pile(night, pile)]) for pile, words, _ in PILES],
        sections=[(words, entries) for words, entries in (("To do", redo), ("Look first", look)) if entries],
    )  # fmt: skip


def _redo(view: JobView, night: Night) -> Told:
    return Told(title(view, today(night)), tuple(f"{one.part_words}: {one.text}" for one in faults(view)),
                tuple(sentence(advice) for advice in steps(view)))  # fmt: skip


def _look(view: JobView, night: Night) -> Told:
    open_ones = tuple(f"{one.part_words}: {one.text}" for one in to_look_at(view))
    return Told(title(view, today(night)), open_ones or (waiting_words(view),))


def alarm_subject(studio: str, alarms: Sequence[str]) -> str:
    """'Saltmarsh Lane, alarm: the folder … is missing', or how many there are."""
    what = shown(alarms[0]) if len(alarms) == 1 else counted(len(alarms), "alarm")
    return f"{shown(studio)}, {'alarm: ' if len(alarms) == 1 else ''}{what}"


def alarm_text(studio: str, alarms: Sequence[str], when: datetime) -> str:
    """What is wrong now, and where to look."""
    said = "\n".join(f"! {sentence(shown(alarm))}" for alarm in alarms)
    return (f"{shown(studio)}, {day_words(when.date())} {when:%H:%M}\n\n{said}\n\n"
            "The daemon goes on where it can, and takes up the rest by itself once the cause is gone.\n"
            "Each matter is written about at most once a day.\n")  # fmt: skip
