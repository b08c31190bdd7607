"""The night's works in the order of the contact sheet, each in few words: number, pile, the one thing, size."""

from __future__ import annotations

import json
from dataclasses import dataclass

from ..jobs import standing
from ..model import MM_PER_INCH, JobView, Level, ListedJob, Night, Pile, shown
from .account import due, faults, in_pile, parts, to_look_at, today
from .drawing import FALLBACK_PPI, frame_mm
from .figures import due_words
from .headlines import expected_due_first, waiting_words
from .in_brief import is_brief
from .morning_text import PILES
from .night_axis import SHAPES
from .repeated import Repeated, own_notes, repeated

ORDER = (Pile.SCAN_AGAIN, Pile.DESK, Pile.LOOK_FIRST, Pile.UNFINISHED, Pile.MAY_GO_BACK)


@dataclass(frozen=True, slots=True)
class ContactLabel:
    """One work: its job as the ledger has it, the shape and words of its pile, the one thing to know, its true size."""

    job: str
    shape: str
    number: str
    pile: str
    thing: str
    width_mm: float
    height_mm: float
    size: str


def contact_labels(night: Night) -> tuple[ContactLabel, ...]:
    """All works of the night, what costs most first and within a pile what is due first."""
    words, common = {pile: name for pile, name, _ in PILES}, repeated(night)
    seen = tuple(_label(view, pile, words[pile], night, common) for pile in ORDER for view in in_pile(night, pile))
    return (*(_never_seen(job, night) for job in expected_due_first(night)), *seen)


def contact_title(night: Night, labels: tuple[ContactLabel, ...]) -> str:
    """'scan again 7, mend at the desk 1, may go back 6'."""
    counts = [f"{label.lower()} {len(found)}" for pile, label, _ in PILES if (found := in_pile(night, pile))]
    counts += [f"never seen {len(night.expected_not_seen)}"] if night.expected_not_seen else []
    return f"{shown(night.studio)}: {', '.join(counts)}" if labels else f"{shown(night.studio)}: no work came"


def _label(view: JobView, pile: Pile, words: str, night: Night, common: tuple[Repeated, ...]) -> ContactLabel:
    width, height = _size_mm(view)
    when = due_words(due(view), today(night)) if pile is not Pile.MAY_GO_BACK else ""
    told = words.lower() + (f", {when}" if when else "")
    size = f"{width:.0f} x {height:.0f} mm with border" if view.row.crop else f"scan {width:.0f} x {height:.0f} mm"
    thing = _thing(view, pile, common)
    return ContactLabel(view.row.job, SHAPES[pile], shown(view.row.job), told, thing, width, height, size)


def _never_seen(job: ListedJob, night: Night) -> ContactLabel:
    """A work of the job list without a scan: an empty place of its size."""
    width, height = job.width_mm or 100.0, job.height_mm or 75.0
    when = due_words(shown(job.due), today(night))
    size = f"{width:.0f} x {height:.0f} mm" if job.width_mm and job.height_mm else ""
    return ContactLabel(job.job, "!", shown(job.job), f"never seen{f', {when}' if when else ''}", "must stay", width,
                        height, size)  # fmt: skip


def _thing(view: JobView, pile: Pile, common: tuple[Repeated, ...]) -> str:
    found = faults(view)
    if pile in {Pile.SCAN_AGAIN, Pile.DESK} and found:
        part = f"{found[0].part}: " if found[0].part not in {"", "whole"} else ""
        return part + found[0].brief
    if pile is Pile.LOOK_FIRST:
        return next((one.brief for one in to_look_at(view)), waiting_words(view))
    if pile is Pile.UNFINISHED:
        return waiting_words(view)
    if found:
        return f"accepted: {found[0].brief}"
    own = (one for one in own_notes(view, common) if one.finding.level is Level.NOTE and is_brief(one.finding))
    noted = next((one.brief for one in own), "")
    return f"noted: {noted}" if noted else "no fault found"


def _size_mm(view: JobView) -> tuple[float, float]:
    """Of the master; of a work that has none the frames of its parts side by side."""
    measured = [scan.measured for scan in parts(view) if scan.measured and scan.measured.width_px]
    if view.row.crop and measured:
        crop = json.loads(view.row.crop)
        mm = MM_PER_INCH / (measured[0].ppi_x or FALLBACK_PPI)
        return crop["width"] * mm, crop["height"] * mm
    strangers = standing(view.scans, view.listed).strangers  # their pictures stand beside the parts
    measured += [scan.measured for scan in strangers if scan.measured and scan.measured.width_px]
    frames = [frame_mm(one) for one in measured] or [(100.0, 75.0)]
    return sum(width for width, _ in frames), max(height for _, height in frames)
