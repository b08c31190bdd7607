"""What may be done with the work that still lies on the bed: one line and one large word about the newest scan."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from ..model import ArrivingRow, Finding, JobView, Level, Needs, Night, Role, ScanRow, shown
from ..policy import EXPLAINS, holds_back
from .account import Said
from .figures import moment
from .in_brief import check_words

_NO_WORK = {Role.REF, Role.TARGET, Role.SHIM}


class Word(Enum):
    """The one word that can be read from the scanner."""

    LIFT = "LIFT IT"  # nothing found
    LOOK = "LOOK"  # something that matters could not be judged: look before lifting
    LEAVE = "LEAVE IT"  # a fault that needs the artwork, or a scan without a place
    WAIT = "WAIT"  # not judged yet
    NONE = ""  # no work lies there: a reference, a target, a shim


@dataclass(frozen=True, slots=True)
class Verdict:
    """The judgement of one scan: `line` names scan and figure, `when_utc` its arrival."""

    word: Word
    line: str
    when_utc: str
    bed: str
    scan: ScanRow | None = None


def last_verdict(night: Night, bed: str = "", judged: bool = False) -> Verdict | None:
    """The judgement of the newest file, of one bed where `bed` is given, of those already judged where `judged`;
    None before the first."""
    files: list[tuple[ScanRow | ArrivingRow, JobView | None]] = [(s, view) for view in night.jobs for s in view.scans]
    files += [(scan, None) for scan in (*night.unplaced, *night.references)]
    files += [(row, None) for row in night.arriving]
    here = [(file, view) for file, view in files if not bed or file.bed == bed]
    for file, view in sorted(here, key=lambda pair: _age(pair[0]), reverse=True):
        verdict = _of(file, view)
        if not judged or verdict.word is not Word.WAIT:
            return verdict
    return None


def scan_words(scan: ScanRow) -> str:
    """'SL-0412 R'; the file's name where no rule understands it."""
    return f"{shown(scan.name.job)} {shown(scan.name.part)}" if scan.name else shown(scan.file)


def _of(file: ScanRow | ArrivingRow, view: JobView | None) -> Verdict:
    if isinstance(file, ArrivingRow):
        return _of_arriving(file)
    return _of_unplaced(file) if file.reason else _of_scan(file, view)


def _of_scan(scan: ScanRow, view: JobView | None) -> Verdict:
    word, told = _judged(scan, view)
    return Verdict(word, f"{scan_words(scan)}: {told}", scan.admitted_utc, scan.bed, scan)


def _judged(scan: ScanRow, view: JobView | None) -> tuple[Word, str]:
    if scan.measured is None:
        return Word.WAIT, "not measured yet, leave it"
    faults = [f for f in scan.findings if f.level is Level.FAULT]
    grave = [f for f in faults if f.needs is not Needs.DESK or f.check == "job"]
    if grave:
        return Word.LEAVE, f"{_brief(grave[0], scan)}{_others(grave)}: leave it, see note"
    if scan.name and scan.name.role in _NO_WORK:
        notes = [f for f in scan.findings if f.level is Level.NOTE]
        return Word.NONE, _brief(notes[0], scan) if notes else "nothing found"
    unclear = [f for f in scan.findings if f.level is Level.UNDECIDED and holds_back(f)]
    if unclear:
        return Word.LOOK, f"{_brief(unclear[0], scan)}{_others(unclear)}: look at it at 1:1 before you lift it"
    if faults:
        return Word.LIFT, f"{_brief(faults[0], scan)}: mend at the desk; the work may be lifted"
    return Word.LIFT, f"nothing found, lift it{_still_to_come(view)}{_asides(scan)}"


def _asides(scan: ScanRow) -> str:
    """Notes, and what could not be judged without holding the work back."""
    notes = [_brief(f, scan) for f in scan.findings if f.level is Level.NOTE]
    open_ones = (f for f in scan.findings if f.level is Level.UNDECIDED and (f.check, f.name) not in EXPLAINS)
    unclear = dict.fromkeys(check_words(f.check) for f in open_ones)
    told = [f"noted: {notes[0]}"] if notes else []
    told += [f"not judged: {', '.join(unclear)}"] if unclear else []
    return f" ({'; '.join(told)})" if told else ""


def _still_to_come(view: JobView | None) -> str:
    parts = [shown(part) for part in view.missing] if view else []
    return f"; {', '.join(parts)} still to come" if parts else ""


def _of_unplaced(scan: ScanRow) -> Verdict:
    line = f"{shown(scan.file)}: {shown(scan.reason) or 'set aside'}: leave it"
    twin = scan.reason.startswith("same bytes")
    return Verdict(Word.NONE if twin else Word.LEAVE, line.removesuffix(": leave it") if twin else line,
                   scan.admitted_utc, scan.bed)  # fmt: skip


def _of_arriving(row: ArrivingRow) -> Verdict:
    state = {"measuring": "being measured", "waiting": "waits to be measured"}.get(row.state, "arriving")
    return Verdict(Word.WAIT, f"{shown(row.file)}: {state}, leave it", row.since_utc, row.bed)


def _brief(finding: Finding, scan: ScanRow) -> str:
    return Said(finding, scan).brief


def _others(findings: list[Finding]) -> str:
    return f" and {len(findings) - 1} more" if len(findings) > 1 else ""


def _age(file: ScanRow | ArrivingRow) -> tuple[float, int]:
    """Later is larger; of two at one time the one still coming."""
    coming = isinstance(file, ArrivingRow)
    found = moment(file.since_utc if isinstance(file, ArrivingRow) else file.admitted_utc)
    return found.timestamp() if found else 0.0, int(coming)
