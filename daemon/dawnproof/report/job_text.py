"""All that is known of one job, as text: how it stands, each scan with its readings and findings, decisions, moves."""

from __future__ import annotations

from collections.abc import Iterable

from ..model import Finding, JobView, Level, MoveRow, Pile, Reading, ScanRow, shown
from .account import Said, decision_words, said, takes_words, title, used_scans, what_to_do
from .drawing import frame_mm
from .figures import day_and_clock, local, size
from .in_brief import check_words, place
from .layout import Cell, PartState, layout
from .lines import Lines, sentence
from .prints import print_words
from .takes_compared import comparisons

MARKS = {Level.FAULT: "x ", Level.UNDECIDED: "? ", Level.NOTE: "- ", Level.SOUND: ". "}
_ANY = Finding("", "", Level.SOUND, None, "")


def job_text(view: JobView, moves: Iterable[MoveRow] = (), now_utc: str = "", offset_s: int = 0) -> str:
    """Lines of at most 78 columns where no longer word stands in them."""
    page = Lines()
    today = local(now_utc, offset_s)
    page.say(title(view, today.date() if today else None), "", 4)
    for words in standing_words(view):
        page.say(words)
    job_findings = [one for level in Level for one in said(view, level) if one.scan is None]
    for one in sorted(job_findings, key=lambda one: list(MARKS).index(one.finding.level)):
        page.say(one.text, MARKS[one.finding.level])
    for advice in what_to_do(view):
        page.say(sentence(advice), "> ")
    counted = {scan.id for scan in used_scans(view)}
    for scan in view.scans:
        _scan(page, scan, scan.id in counted, offset_s)
    _history(page, view, moves, offset_s)
    return page.text


def standing_words(view: JobView) -> tuple[str, ...]:
    """Pile, parts, takes, version, prints, and where everything lies."""
    row = view.row
    lines = (
        f"{view.pile.value if view.pile else row.state.value}{_waiting(view)}",
        f"parts: {' / '.join(' '.join(_cell(cell) for cell in line) for line in layout(view))}",
        f"takes so far: {takes_words(view)}" if view.scans else "",
        f"version {row.version} in the archive" if row.version else "",
        print_words(row.print_sizes),
        f"hold: {shown(view.listed.hold)}" if view.listed and view.listed.hold else "",
        f"folder: {shown(view.folder)}" if view.folder else "",
        f"master: {shown(row.master)}" if row.master else "",
        f"close-ups: {shown(view.details)}" if view.details else "",
    )
    return tuple(line for line in lines if line)


def _waiting(view: JobView) -> str:
    return (
        f", waits for {shown(view.row.waits_for)}"
        if view.row.waits_for and view.pile in {None, Pile.UNFINISHED}
        else ""
    )


def _cell(cell: Cell) -> str:
    words = {
        PartState.THERE: "",
        PartState.UNDECIDED: " (look)",
        PartState.FAULT: " (fault)",
        PartState.MISSING: " (missing)",
    }
    return f"{cell.label or '?'}{words[cell.state]}"


def _scan(page: Lines, scan: ScanRow, counted: bool, offset_s: int) -> None:
    superseded = "" if counted else ", superseded or not counted"
    page.rule(f"{Said(_ANY, scan).part_words}{superseded}")
    page.say(
        f"{shown(scan.file)}, {size(scan.size_bytes)}, {shown(scan.bed)}, {day_and_clock(scan.admitted_utc, offset_s)}"
    )
    measured = scan.measured
    if measured is None:
        page.say(shown(scan.reason) or "not measured")
        return
    width, height = frame_mm(measured)
    page.say(
        f"{measured.width_px} x {measured.height_px} px, {width:.0f} x {height:.0f} mm, sha256 {scan.sha256[:16]}…"
    )
    judged = {(f.check, f.name) for f in scan.findings}
    for finding in sorted(scan.findings, key=lambda f: list(MARKS).index(f.level)):
        where = f"; {place(finding.where)}" if finding.where and finding.level is not Level.SOUND else ""
        page.say(f"{shown(finding.text)}{where}", MARKS[finding.level])
    for reading in measured.readings:
        if (reading.check, reading.name) not in judged:
            page.say(_reading(reading), "  ")


def _reading(reading: Reading) -> str:
    name = f"{check_words(reading.check)}, {shown(reading.name).replace('_', ' ')}"
    if reading.value is None:
        return f"{name}: not taken" + (f", {shown(reading.why)}" if reading.why else "")
    if isinstance(reading.value, str):
        return f"{name}: {shown(reading.value) or 'none'}"
    return f"{name}: {reading.value:.4g} {shown(reading.unit)}".rstrip()


def _history(page: Lines, view: JobView, moves: Iterable[MoveRow], offset_s: int) -> None:
    words = [*(one.words for one in comparisons(view)), *decision_words(view, offset_s)]
    words += [f"{day_and_clock(m.when_utc, offset_s)}: {shown(m.source)} -> {shown(m.target)}" for m in moves]
    if words:
        page.rule("history")
    for line in words:
        page.say(line, "", 4)
