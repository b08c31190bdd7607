"""What the rule book asks of the next scan of a job: settings with their values, and how the file is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

from ..model import Asked, JobView, ListedJob, Outcome
from ..rulebook import RuleBook

_ASKED = (("encoding", "depth_declared"), ("resolution", "ppi_x"), ("resolution", "effective_ppi"))
STEP_PPI = 50


def asked_of(book: RuleBook, listed: ListedJob | None) -> Asked:
    """What the book asks of a scan; the ppi high enough for the ordered print too, in steps of `STEP_PPI`."""
    bits, ppi, printed = (book.limit(*key) for key in _ASKED)
    wanted = [limit.note or limit.fault or 0.0 for limit in (ppi,) if limit]
    if printed and listed and listed.print_mm and listed.width_mm and listed.height_mm:
        enlargement = listed.print_mm / max(listed.width_mm, listed.height_mm)
        wanted.append((printed.note or printed.fault or 0.0) * enlargement)
    most = max(wanted, default=0.0)
    return Asked(int(bits.fault) if bits and bits.fault else None, STEP_PPI * ceil(most / STEP_PPI) if most else None,
                 book.naming.pattern)  # fmt: skip


def with_what_is_asked(views: Sequence[JobView], book: RuleBook) -> tuple[JobView, ...]:
    """The jobs, those that somebody may have to scan again with what their kind's book asks of the next scan."""
    books = {"": book}
    found = []
    for view in views:
        if view.row.outcome is not Outcome.ARCHIVE:
            medium = view.listed.medium if view.listed else ""
            kind = next((name for name, kind in book.kinds.items() if kind.fits(view.row.job, medium)), "")
            held = books.get(kind) or books.setdefault(kind, book.for_kind(kind))
            view = replace(view, asked=asked_of(held, view.listed))
        found.append(view)
    return tuple(found)
