"""The morning as one self-contained HTML page for screen and paper, in the order of the text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from ..advice import CAUTIONS
from ..model import Finding, JobView, Level, Night, Pile, Place, ScanRow, shown
from .account import (
    Said,
    close_up,
    decision_words,
    faults,
    in_pile,
    takes_words,
    title,
    to_look_at,
    today,
)
from .bed_sheet import draw_bed
from .before_first import mark_words
from .drawing import draw_scan, frame_mm
from .figures import clock_near, day_and_clock
from .headlines import good_sentence, headlines, is_good, stay_words, waiting_words
from .in_brief import place
from .keeping import file_lines, keeping_lines, place_orders, scanner_lines, times_lines
from .lines import sentence
from .mend import save_words, steps
from .morning_text import PILES, back_words
from .night_axis import SHAPES
from .note import concerned
from .orders import OCCASIONS, orders
from .paper import render
from .pictures import Album
from .prints import print_words
from .repeated import Repeated, own_notes, repeated, unjudged
from .stitches import is_shown_stitch
from .takes_compared import Comparison, comparisons, two_pictures
from .timeline import draw_night

WIDEST_PX, SMALL_WIDEST_PX = 380.0, 200.0  # the night's widest scan; all others at its scale: true relative size
MOST_DRAWINGS = 12  # of one job
CLOSE_UP_BYTES, PROOF_BYTES = 2_000_000, 160_000  # a larger picture is left beside the page


_ANY = Finding("", "", Level.SOUND, None, "")


@dataclass(frozen=True, slots=True)
class Entry:
    """One job as the page shows it, every text ready."""

    key: str
    view: JobView
    title: str
    shape: str
    held: str
    faults: tuple[tuple[Said, str], ...]
    undecided: tuple[tuple[Said, str], ...]
    notes: tuple[Said, ...]
    advice: tuple[str, ...]
    takes: str
    prints: str
    decisions: tuple[str, ...]
    comparisons: tuple[tuple[Comparison, Markup, Markup], ...]
    drawings: tuple[tuple[str, Markup], ...]
    close_up: Markup | None
    close_up_path: str
    proof: Markup | None
    both: Markup | None  # two pictures under one number side by side, in colour
    both_words: tuple[str, ...]


def morning_page(night: Night, pictures: Mapping[str, bytes], sheets: Sequence[str] = (), to_scan: str = "") -> str:
    """The page. `pictures` are JPEG bytes by 'JOB/proof', 'JOB/details' and 'JOB/parts'; what is too large for the
    page, or comes when it is full, is named by its path instead. `sheets`: names of the contact sheets beside the page,
    `to_scan` that of the scan-again sheet, '' where there is nothing to scan again."""
    album, common = Album(pictures), repeated(night)
    keys = {view.row.job: f"job-{number}" for number, view in enumerate(night.jobs, 1)}
    build = _Builder(night, album, keys, common)
    order = (Pile.SCAN_AGAIN, Pile.DESK, Pile.LOOK_FIRST, Pile.UNFINISHED, Pile.MAY_GO_BACK)
    entries = {pile: [build.entry(view, pile) for view in in_pile(night, pile)] for pile in order}
    cautious = any(one.cautious for entry in entries[Pile.SCAN_AGAIN] for one, _ in entry.faults)
    return render(
        "page.html", title=f"{shown(night.studio)}, morning of {day_and_clock(night.until_utc, night.offset_s)}",
        since=day_and_clock(night.since_utc, night.offset_s), good=good_sentence(night) if is_good(night) else "",
        headlines=headlines(night), alarms=[shown(alarm) for alarm in night.alarms],
        piles=_piles(night, keys, common), to_scan=to_scan, place_orders=place_orders(night),
        timeline=draw_night(night), sheets=sheets, again=entries[Pile.SCAN_AGAIN], desk=entries[Pile.DESK],
        look=entries[Pile.LOOK_FIRST], unfinished=entries[Pile.UNFINISHED], back=entries[Pile.MAY_GO_BACK],
        common=(*(one.words for one in common), *unjudged(night, common)),
        cautions=CAUTIONS if cautious else (), files=file_lines(night),
        orders={pile.name: (words, orders(pile, in_pile(night, pile), night)) for pile, words in OCCASIONS.items()},
        scanner=scanner_lines(night),
        maps=_maps(night), keeping=keeping_lines(night), times=times_lines(night),
    )  # fmt: skip


class _Builder:
    """Makes the entries; pictures go to the jobs that are asked for first."""

    def __init__(self, night: Night, album: Album, keys: Mapping[str, str], common: tuple[Repeated, ...]) -> None:
        self._night, self._album, self._keys = night, album, keys
        self._common = common
        measured = [scan.measured for view in night.jobs for scan in view.scans if scan.measured]
        self._widest_mm = max((frame_mm(one)[0] for one in measured if one.width_px), default=100.0)

    def entry(self, view: JobView, pile: Pile) -> Entry:
        night, job = self._night, view.row.job
        found = faults(view)
        redo = pile in {Pile.SCAN_AGAIN, Pile.DESK}
        notes = () if pile is Pile.SCAN_AGAIN else own_notes(view, self._common)
        other = any(one.finding.name == "other_picture" for one in found)
        both = self._album.picture(f"{job}/parts") if other else None
        shows_stitch = any(one.finding.check == "seam" or is_shown_stitch(one.finding) for one in notes)
        return Entry(
            self._keys[job], view, title(view, today(night)), SHAPES[pile], self._held(view, pile),
            tuple((one, _place(one)) for one in found), tuple((one, _place(one)) for one in to_look_at(view)), notes,
            tuple(sentence(words) for words in (*steps(view), *save_words(view))) if redo else (), takes_words(view),
            print_words(view.row.print_sizes), decision_words(view, night.offset_s), self._comparisons(view),
            self._drawings(view, pile) if (redo or pile is Pile.LOOK_FIRST) and not both else (),
            self._album.picture(f"{job}/details", CLOSE_UP_BYTES)
            if pile is not Pile.MAY_GO_BACK or shows_stitch else None,
            self._beside(close_up(view)), self._proof(view) if pile not in {Pile.SCAN_AGAIN, Pile.DESK} else None,
            both, two_pictures(view, night.offset_s),
        )  # fmt: skip

    def _beside(self, path: str) -> str:
        """A path from the studio's folder on, where it lies in it."""
        return path.removeprefix(f"{shown(self._night.root)}/") if self._night.root else path

    def _held(self, view: JobView, pile: Pile) -> str:
        if pile is Pile.UNFINISHED:
            until = clock_near(view.row.waits_until_utc, self._night.until_utc, self._night.offset_s)
            return (waiting_words(view) or view.row.state.value) + (f", until {until}" if until else "")
        return waiting_words(view)

    def _drawings(self, view: JobView, pile: Pile) -> tuple[tuple[str, Markup], ...]:
        """(part, outline) of the scans that are spoken of; all that are still there where the job as a whole is."""
        marked = faults(view) or to_look_at(view)
        chosen = [scan for scan in view.scans if _has(scan, marked)]
        if not chosen and pile is not Pile.LOOK_FIRST:
            chosen = [scan for scan in view.scans if scan.place is not Place.CLOSED]
        placed = any(one.finding.where for one in marked)
        scale = (WIDEST_PX if len(chosen) == 1 and placed else SMALL_WIDEST_PX) / self._widest_mm
        drawings = []
        for scan in chosen[:MOST_DRAWINGS]:
            numbered = [(number, one) for number, one in enumerate(marked, 1) if one.scan is scan]
            drawing = draw_scan(scan, scale, numbered, picture=self._thumb(scan))
            drawings.append((Said(_ANY, scan).part_words, drawing))
        return tuple((words, drawing) for words, drawing in drawings if drawing)

    def _thumb(self, scan: ScanRow) -> Markup:
        return (self._album.data(scan.measured.thumb) if scan.measured else None) or Markup("")

    def _comparisons(self, view: JobView) -> tuple[tuple[Comparison, Markup, Markup], ...]:
        return tuple((one, self._take(one.before), self._take(one.after)) for one in comparisons(view))

    def _take(self, scan: ScanRow) -> Markup:
        bad = [Said(f, scan) for f in scan.findings if f.level is Level.FAULT]
        return draw_scan(scan, SMALL_WIDEST_PX / self._widest_mm, list(enumerate(bad, 1)), picture=self._thumb(scan))

    def _proof(self, view: JobView) -> Markup | None:
        proof = self._album.picture(f"{view.row.job}/proof", PROOF_BYTES)
        thumbs = [scan.measured.thumb for scan in concerned(view) if scan.measured and scan.measured.thumb]
        return proof or (self._album.data(thumbs[0]) if thumbs else None)


def _has(scan: ScanRow, found: tuple[Said, ...]) -> bool:
    return any(one.scan is scan for one in found)


def _place(one: Said) -> str:
    return place(one.finding.where) if one.finding.where else ""


def _piles(
    night: Night, keys: Mapping[str, str], common: tuple[Repeated, ...]
) -> list[tuple[str, str, str, list[tuple[str, str]]]]:
    """(shape, pile, meaning, [(key, words)]) in the order of the text."""
    return [
        (SHAPES[pile], words, meaning, [
            (keys[v.row.job], back_words(v, common, today(night)) if pile is Pile.MAY_GO_BACK else stay_words(v, night))
            for v in in_pile(night, pile)])
        for pile, words, meaning in PILES
    ]  # fmt: skip


def _maps(night: Night) -> list[tuple[str, Markup, list[str]]]:
    """(bed, map, words of its marks) for each bed with recurring marks."""
    maps = []
    for bed in night.beds:
        marks = [(mark.x_mm, mark.y_mm, mark_words(mark)) for mark in night.marks if mark.bed == bed.name]
        if marks:
            maps.append((shown(bed.name), draw_bed(bed, marks, WIDEST_PX), [words for _, _, words in marks]))
    return maps
