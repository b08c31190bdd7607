"""The morning summary: gathered, worded, and written beside each other as page, text and document."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from ..errors import UsageError
from ..ledger.ledger import Ledger
from ..model import JobView, ListedJob, Night
from ..report.documents import to_json
from ..report.figures import due_day
from ..report.morning_text import summary_text
from ..report.page import morning_page
from ..report.scan_again import scan_again, scan_again_html, scan_again_text
from ..report.summary import summary_document
from ..storage.moves import make_folder, write_beside
from ..storage.studio import Studio
from ..workers.closeups import PARTS
from .contact import write_contact_sheets
from .night import gather_night
from .thumbs import small_jpeg


@dataclass(frozen=True, slots=True)
class Written:
    """A summary as it was written, under which day, and the night it tells."""

    folder: Path
    day: str
    night: Night
    text: str
    document: dict[str, Any]


def moment(words: str | None, now: datetime) -> datetime:
    """When the summary begins: '8h', '30min', 'yesterday', 'today', a date or an ISO time; None = noon yesterday."""
    noon = (now - timedelta(days=1)).replace(hour=12, minute=0, second=0, microsecond=0)
    if words is None:
        return noon
    text = words.strip().lower()
    span = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(h|hours?|d|days?|m|min|minutes?)", text)
    if span:
        unit = {"h": 3600, "d": 86400, "m": 60}[span[2][0]]
        return now - timedelta(seconds=float(span[1]) * unit)
    if text in {"yesterday", "today"}:
        midnight = now.replace(hour=0, minute=0, second=0, microsecond=0)
        return midnight - timedelta(days=1) if text == "yesterday" else midnight
    try:
        found = datetime.fromisoformat(words.strip())
    except ValueError:
        raise UsageError(f"{words!r} is no time: write 8h, yesterday, 2026-11-24 or 2026-11-24T18:00") from None
    return found if found.tzinfo else found.replace(tzinfo=now.tzinfo)


def last_day(words: str | None, now: datetime) -> date | None:
    """Until when a work must be due to be shown: 'today', 'tomorrow', '3d', a date or an ISO time; None = all."""
    if words is None:
        return None
    text = words.strip().lower()
    if text in {"today", "tomorrow"}:
        return now.date() + timedelta(days=text == "tomorrow")
    span = re.fullmatch(r"(\d{1,4})\s*(d|days?|w|weeks?)", text)
    if span:
        return now.date() + timedelta(days=int(span[1]) * (7 if span[2][0] == "w" else 1))
    found = due_day(words)
    if found is None:
        raise UsageError(f"{words!r} is no day: write today, tomorrow, 3d or 2026-11-24")
    return found


def _is_due(listed: ListedJob | None, until: date) -> bool:
    day = due_day(listed.due) if listed else None
    return day is not None and day <= until


def write_morning(studio: Studio, ledger: Ledger, since: datetime, now: datetime, due: date | None) -> Written:
    """Gather the night since `since` and write it to the morning folder under today's date; with `due` only works
    that are due until that day."""
    night = gather_night(studio, ledger, since.astimezone(UTC), now.astimezone(UTC))
    if due is not None:
        night = replace(night, jobs=tuple(v for v in night.jobs if _is_due(v.listed, due)),
                        expected_not_seen=tuple(j for j in night.expected_not_seen if _is_due(j, due)))  # fmt: skip
    text, document = summary_text(night), summary_document(night)
    day = now.date().isoformat()
    make_folder(studio.morning)
    pictures = pictures_of(night)
    sheets = write_contact_sheets(night, day, studio.morning, pictures)
    for name, content in (
        (f"{day}.txt", text),
        (f"{day}.json", to_json(document)),
        (f"{day}.html", morning_page(night, pictures, sheets, f"{day}-scan-again.html" if scan_again(night) else "")),
        (f"{day}-scan-again.txt", scan_again_text(night)),
        (f"{day}-scan-again.html", scan_again_html(night)),
    ):
        write_beside(studio.morning / name, content.encode("utf-8", "backslashreplace"), replace=True)
    return Written(studio.morning, day, night, text, document)


def pictures_of(night: Night) -> dict[str, bytes]:
    """Pictures by job and kind ('SL-0412/proof', 'SL-0412/parts', 'SL-0412/details') for page and contact sheets."""
    found: dict[str, bytes] = {}
    for view in night.jobs:
        found |= _pictures(view)
    return found


def _pictures(view: JobView) -> dict[str, bytes]:
    found = {f"{view.row.job}/proof": small_jpeg(Path(view.proof))} if view.proof else {}
    if view.proof and (beside := Path(view.proof).with_name(PARTS)).is_file():
        found[f"{view.row.job}/parts"] = beside.read_bytes()
    if view.details and Path(view.details).is_file():
        found[f"{view.row.job}/details"] = Path(view.details).read_bytes()
    return found
