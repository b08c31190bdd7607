"""Several studios of one house in one summary: what may leave and what must stay first, over all of them, then each
studio as in its own summary."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..model import JobView, Night, Pile, shown
from .account import in_pile
from .documents import Document
from .figures import counted, day_and_clock, listing
from .headlines import good_sentence, headlines, is_good, stay_words
from .lines import Lines, sentence
from .morning_text import PILES, summary_text
from .night_axis import SHAPES
from .paper import render
from .summary import summary_document


@dataclass(frozen=True, slots=True)
class StudioNight:
    """One studio's night. `name` sets it apart from the others, `folder` is where it is, `page` its own page."""

    name: str
    folder: str
    page: str
    night: Night


@dataclass(frozen=True, slots=True)
class PileRow:
    """One pile over all studios: (studio's name, the words of each of its jobs)."""

    shape: str
    words: str
    meaning: str
    count: int
    jobs: tuple[tuple[str, tuple[str, ...]], ...]


def house_document(house: Sequence[StudioNight]) -> Document:
    """`morning --json` of several studios: under `studios` each with its name, its folder, and the keys of one."""
    return {"studios": [{"studio": s.name, "folder": s.folder, **summary_document(s.night)} for s in house]}


def house_text(house: Sequence[StudioNight]) -> str:
    """The whole house as text: what each studio needs, the piles over all, then every studio by itself."""
    page = Lines()
    page.say(_title(house))
    for one in house:
        page.gap()
        page.say(shown(one.name))
        for well, words in _needs(one.night):
            page.say(words, "  - " if well else "  ! ")
    page.gap()
    for row in _piles(house):
        page.say(row.meaning if row.count else "none", f"{row.words:<17}{row.count:>3}  ", 22)
        for studio, jobs in row.jobs:
            page.say(f"{shown(studio)}: {listing(list(jobs), 60)}", " " * 22, 24)
    return page.text + "".join(f"\n\n{'=' * page.width}\n{summary_text(one.night)}" for one in house)


def house_page(house: Sequence[StudioNight]) -> str:
    """The house on one page, with a way to each studio's own."""
    return render(
        "house.html", title=_title(house), piles=_piles(house),
        studios=[(one.name, one.page, _needs(one.night)) for one in house],
    )  # fmt: skip


def _title(house: Sequence[StudioNight]) -> str:
    last = max((one.night for one in house), key=lambda night: night.until_utc)
    return f"{counted(len(house), 'studio')}, morning of {day_and_clock(last.until_utc, last.offset_s)}"


def _needs(night: Night) -> list[tuple[bool, str]]:
    """(whether all is well, the words) of each thing somebody has to do or know; one sentence of a good night."""
    alarms = [(False, sentence(shown(alarm))) for alarm in night.alarms]
    if is_good(night) and not alarms:
        return [(True, good_sentence(night))]
    return alarms + [(line.well, sentence(line.answer)) for line in headlines(night) if not line.well]


def _piles(house: Sequence[StudioNight]) -> list[PileRow]:
    rows = []
    for pile, words, meaning in PILES:
        found = [(one.name, tuple(_words(v, pile, one.night) for v in in_pile(one.night, pile))) for one in house]
        jobs = tuple((name, each) for name, each in found if each)
        rows.append(PileRow(SHAPES[pile], words, meaning, sum(len(each) for _, each in jobs), jobs))
    return rows


def _words(view: JobView, pile: Pile, night: Night) -> str:
    return shown(view.row.job) if pile is Pile.MAY_GO_BACK else stay_words(view, night)
