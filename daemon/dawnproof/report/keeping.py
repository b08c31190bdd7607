"""What is said at the end of the morning: files without a place, the scanner, the re-read bags, room, times."""

from __future__ import annotations

from ..model import Level, MailRow, MailState, Night, ScanRow, shown
from .account import is_odd, unplaced_words
from .before_first import SIDES, mark_words
from .figures import clock_near, counted, day_and_clock, listing, size, span
from .headlines import is_twin
from .orders import place_order


def file_lines(night: Night) -> tuple[str, ...]:
    """Files without a place and files that stay where they are, each with its reason; the job list's problems."""
    lines = [f"{unplaced_words(scan)}; {_whereabouts(scan, night)}" for scan in night.unplaced]
    lines += [f"{shown(s.file)} stays where it is: {shown(s.reason)}" for s in night.staying if is_odd(s)]
    left = [shown(s.file) for s in night.staying if not is_odd(s)]
    lines += [f"Left alone by rule: {listing(left, 8)}"] if left else []
    return (*lines, *(f"Job list: {shown(problem)}" for problem in night.job_list_problems))


def place_orders(night: Night) -> tuple[str, ...]:
    """The commands that give files their names."""
    return tuple(order for scan in night.unplaced if (order := place_order(scan, night)))


def _whereabouts(scan: ScanRow, night: Night) -> str:
    """Where a file that was set aside lies now, and what that means for its work."""
    folder = shown(scan.home).rpartition("/")[0]
    inside = folder.removeprefix(f"{shown(night.root)}/") if night.root else folder
    mended = "has its name" if place_order(scan, night) else "has been copied again whole"
    stays = "" if is_twin(scan) else f"; its work must stay until the file {mended} or the work is scanned"
    return f"it lies in {inside}{stays}"


def scanner_lines(night: Night) -> tuple[str, ...]:
    """Recurring marks and what the reference scans say."""
    lines = [f"{shown(mark.bed)}: {mark_words(mark)}" for mark in night.marks]
    lines += [SIDES] if lines else []
    for scan in night.references:
        told = [shown(f.text) for f in scan.findings if f.level is not Level.SOUND]
        lines.append(f"{shown(scan.bed)}, {shown(scan.file)}: {'; '.join(told) or 'no fault found'}")
    lines += [f"{shown(bed)}: no reference today before the first work; whether its light is even was not judged"
              for bed in night.without_reference]  # fmt: skip
    return tuple(lines)


def keeping_lines(night: Night) -> tuple[str, ...]:
    """Bags that are not as filed first, then how many are, the room on each disk, letters not sent."""
    lines = [f"! {shown(one.bag)} is not as filed: {shown(one.text)}" for one in night.fixity if not one.ok]
    sound = sum(1 for one in night.fixity if one.ok)
    lines.append(
        f"{counted(sound, 'archived job')} re-read, as filed"
        if night.fixity
        else "No archived job was re-read against its checksums in this time"
    )
    for space in night.space:
        left = f", {space.hours_left:.0f} h at this night's rate" if space.hours_left is not None else ""
        lines.append(f"{shown(space.folder)}: {size(space.free_bytes)} free{left}")
    return (*lines, *mail_lines(night))


def times_lines(night: Night) -> tuple[str, ...]:
    """From when to when, how many scans and bytes, how long measuring took."""
    scans = [s for view in night.jobs for s in view.scans if s.measured]
    since, until = (day_and_clock(t, night.offset_s) for t in (night.since_utc, night.until_utc))
    lines = [f"From {since} to {until}: {counted(len(scans), 'scan')}, {size(sum(s.size_bytes for s in scans))}"]
    spent = [sum(seconds for _, seconds in s.measured.seconds) for s in scans if s.measured and s.measured.seconds]
    if spent:
        lines.append(
            f"{span(sum(spent))} of computing in all, several scans at a time; {span(max(spent))} at most for one"
        )
    return tuple(lines)


def mail_lines(night: Night) -> tuple[str, ...]:
    """Letters that could not be sent, each with the reason and when it is tried next."""
    return tuple(_unsent(row, night) for row in night.mails)


def unsent_words(row: MailRow, night: Night) -> str:
    """'not sent yet, again at 06:06: the mail server … did not answer within 30 s'."""
    again = clock_near(row.next_utc, night.until_utc, night.offset_s)
    when = "not sent" if row.state is MailState.GIVEN_UP else f"not sent yet, again at {again}"
    return f"{when}: {shown(row.words)}"


def _unsent(row: MailRow, night: Night) -> str:
    return f"Mail {unsent_words(row, night)} ({shown(row.subject)})"
