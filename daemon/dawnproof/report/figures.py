"""How times, spans, sizes and places are written in the studio: local time, sensible precision, units."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta, timezone

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def moment(utc: str) -> datetime | None:
    """An ISO text as an aware moment; a text without offset is UTC; None where it is none."""
    try:
        found = datetime.fromisoformat(utc)
    except ValueError:
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def local(utc: str, offset_s: int) -> datetime | None:
    """The studio's own time of a UTC text."""
    found = moment(utc)
    return found.astimezone(timezone(timedelta(seconds=offset_s))) if found else None


def clock(utc: str, offset_s: int) -> str:
    """'22:47' in the studio; '' where there is no time."""
    found = local(utc, offset_s)
    return f"{found:%H:%M}" if found else ""


def day_words(day: date) -> str:
    """'Wed 25 Nov'."""
    return f"{DAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"


def day_and_clock(utc: str, offset_s: int) -> str:
    """'Wed 25 Nov 06:00' in the studio."""
    found = local(utc, offset_s)
    return f"{day_words(found)} {found:%H:%M}" if found else ""


def clock_near(utc: str, now_utc: str, offset_s: int) -> str:
    """'17:15' on the same day as now, else 'Wed 17:15'."""
    found, present = local(utc, offset_s), local(now_utc, offset_s)
    if found is None:
        return ""
    other_day = present is None or found.date() != present.date()
    return f"{DAYS[found.weekday()]} {found:%H:%M}" if other_day else f"{found:%H:%M}"


def due_day(due: str) -> date | None:
    """The day a due text names; None where it names none that can be compared."""
    try:
        return datetime.fromisoformat(due.strip()).date()
    except ValueError:
        return None


def due_words(due: str, today: date | None) -> str:
    """'due today', 'due Fri 27 Nov', 'overdue since Mon 23 Nov', or the text of the job list as it stands."""
    day = due_day(due)
    if day is None:
        return f"due {due.strip()}" if due.strip() else ""
    if today is None:
        return f"due {day_words(day)}"
    if day < today:
        return f"overdue since {day_words(day)}"
    nearby = {0: "today", 1: "tomorrow"}.get((day - today).days)
    return f"due {nearby or day_words(day)}"


def span(seconds: float) -> str:
    """'20 s', '45 min', '2 h 32 min'."""
    if seconds < 60:
        return f"{max(seconds, 0):.0f} s"
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest} min" if rest and hours < 10 else f"{hours} h"


def size(size_bytes: float) -> str:
    """'320 MB', '1.4 GB', '2.3 TB'; a kilo is 1000."""
    value = float(size_bytes)
    for unit in ("bytes", "kB", "MB"):
        if value < 1000:
            return f"{value:.0f} {unit}"
        value /= 1000
    if value < 1000:
        return f"{value:.1f} GB" if value < 100 else f"{value:.0f} GB"
    return f"{value / 1000:.1f} TB"


def counted(number: int, thing: str, things: str = "") -> str:
    """'1 scan', '3 scans'; `things` where the plural is no plain s."""
    return f"{number} {thing if number == 1 else things or thing + 's'}"


def listing(items: Sequence[str], most: int = 6) -> str:
    """'a, b and c'; beyond `most`: 'a, b and 4 more'."""
    if len(items) > most:
        return f"{', '.join(items[:most])} and {len(items) - most} more"
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def reach(start_mm: float, length_mm: float) -> str:
    """'210 mm', or '180 to 260 mm' where the place has an extent worth saying."""
    if length_mm < 2:
        return f"{start_mm:.0f} mm"
    return f"{start_mm:.0f} to {start_mm + length_mm:.0f} mm"
