"""The note that lies beside the scans of a job to redo: a colleague who was not there can scan it again from it."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf

from ..advice import CAUTIONS
from ..model import JobView, Pile, ScanRow, shown
from .account import (
    Said,
    beds_of,
    decision_words,
    due,
    faults,
    takes,
    takes_words,
    to_look_at,
    used_scans,
    work_words,
)
from .drawing import draw_scan
from .figures import day_and_clock, due_words, local
from .in_brief import place
from .lines import Lines, sentence
from .mend import save_words, steps
from .paper import render
from .pictures import data_uri
from .takes_compared import comparisons

PROOF, DETAILS = "proof.jpg", "details.jpg"  # keys of the pictures a note may be given
DRAWING_PX = 680.0


def rescan_note_text(view: JobView, now_utc: str = "", offset_s: int = 0) -> str:
    """rescan-note.txt: which part, what is wrong, where in mm, how to scan it again, takes so far, cautions."""
    page = Lines()
    page.say(f"{shown(view.row.job)}: {heading(view)}")
    for line in facts(view, now_utc, offset_s):
        page.say(line)
    page.rule("WHAT IS WRONG")
    for number, one in enumerate(faults(view), 1):
        page.say(f"{one.part_words}: {one.text}", f"{number}. ")
        for line in details(one):
            page.say(line, "   ")
    for one in to_look_at(view):
        page.say(f"{one.part_words}: {one.text}", "?  ")
    page.rule("WHAT TO DO")
    for advice in steps(view):
        page.say(sentence(advice), "> ")
    for line in naming(view):
        page.say(line, "> ")
    for comparison in comparisons(view):
        page.say(comparison.words, "  ")
    for words in decision_words(view, offset_s):
        page.say(words, "  ")
    if is_handled(view):
        page.rule("CAUTIONS")
        for caution in CAUTIONS:
            page.say(caution, "- ")
    return page.text


def rescan_note_html(view: JobView, pictures: Mapping[str, bytes], now_utc: str = "", offset_s: int = 0) -> str:
    """rescan-note.html: the same on one printable page, with the parts drawn to scale and close-ups. `pictures` may
    hold 'proof.jpg' and 'details.jpg' as JPEG bytes."""
    found = faults(view)
    drawings = [
        draw_scan(scan, inf, [(n, one) for n, one in enumerate(found, 1) if one.scan is scan], DRAWING_PX)
        for scan in concerned(view)
    ]
    return render(
        "note.html", title=f"{shown(view.row.job)}: {heading(view)}", facts=facts(view, now_utc, offset_s),
        faults=[(one, details(one)) for one in found], undecided=to_look_at(view), drawings=drawings,
        advice=[sentence(a) for a in steps(view)], naming=naming(view),
        cautions=CAUTIONS if is_handled(view) else (),
        comparisons=comparisons(view), decisions=decision_words(view, offset_s),
        pictures=[(words, data_uri(pictures[key])) for key, words in _PICTURES if pictures.get(key)],
    )  # fmt: skip


_PICTURES = (
    (DETAILS, "Close-ups, one pixel of the scan a pixel of the picture"),
    (PROOF, "The work as far as it was made"),
)


_HEADINGS: dict[Pile | None, str] = {
    Pile.DESK: "mend at the desk, no new scan",
    Pile.LOOK_FIRST: "archived, look at the close-up first",
    Pile.MAY_GO_BACK: "archived, nothing found against returning it",
    Pile.UNFINISHED: "unfinished",
}


def heading(view: JobView) -> str:
    """What the note asks for, in two or three words."""
    return _HEADINGS.get(view.pile, "scan again")


def facts(view: JobView, now_utc: str, offset_s: int) -> tuple[str, ...]:
    """Due day, work, beds, takes so far, when the note was written."""
    day = local(now_utc, offset_s)
    when, work, beds = due_words(due(view), day.date() if day else None), work_words(view), ", ".join(beds_of(view))
    files = ", ".join(shown(scan.file) for scan in used_scans(view))
    lines = (
        f"{when[:1].upper()}{when[1:]}",
        f"Work: {work}" if work else "",
        f"Scanned on {beds}: {files}" if beds else "",
        f"Takes so far: {takes_words(view)}" if takes(view) else "",
        f"Handling: {shown(view.listed.handling)}" if view.listed and view.listed.handling else "",
        f"This side up: {shown(view.listed.up)}" if view.listed and view.listed.up else "",
        f"Written {day_and_clock(now_utc, offset_s)}" if day else "",
    )
    return tuple(line for line in lines if line)


def details(one: Said) -> tuple[str, ...]:
    """Where a fault lies, and the lift along the stitch where it was measured."""
    where = one.finding.where
    if where is None:
        return ()
    lines = [f"Where: {place(where)}"]
    above = [s for s in where.profile or () if s.px is not None and abs(s.px) >= 1.0]
    if above:
        step = -(-len(above) // 6)
        lifts = [f"{s.y_mm:.0f} mm: {s.px:.1f} px" + (f" ({s.mm:.1f} mm high)" if s.mm else "") for s in above[::step]]
        lines.append(f"Along the stitch, from the top: {', '.join(lifts)}")
    return tuple(lines)


def naming(view: JobView) -> tuple[str, ...]:
    """How the new scans are to be named so that they take the place of the old ones."""
    if view.pile is Pile.DESK:
        return ()
    if view.asked.naming:
        return save_words(view)
    lines = []
    for part in dict.fromkeys(one.name.part for one in faults(view) if one.name):
        which = "the whole" if part == "whole" else f"part {shown(part)}"
        lines.append(
            f"Save the new scan of {which} under its old name; it counts as take {takes(view).get(part, 0) + 1}"
        )
    return (*lines, *(f"Scan part {shown(part)}, which never came" for part in view.missing))


def concerned(view: JobView) -> tuple[ScanRow, ...]:
    """The scans that have a fault, or all that count when the fault is the job's as a whole."""
    found = tuple(dict.fromkeys(one.scan.id for one in faults(view) if one.scan))
    return tuple(scan for scan in used_scans(view) if scan.id in found or not found)


def is_handled(view: JobView) -> bool:
    """Whether following the note means handling the work."""
    return any(one.cautious for one in faults(view)) or bool(view.missing)
