"""A whole file becomes a scan in the ledger, with all that follows from it at once: a kill leaves both or neither."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from ..errors import ScanError
from ..ledger.ledger import Ledger
from ..model import JobRow, JobState, Measured, Place, ScanRow
from ..pipeline.intake import Arrived, admit, admitted_already, belongs_elsewhere
from ..storage.studio import Studio
from .voice import Voice, now_utc


def enter(
    studio: Studio,
    ledger: Ledger,
    voice: Voice,
    file: Arrived,
    measured: Measured | None,
    error: ScanError | None,
    sha256: str,
) -> ScanRow | None:
    """The new row; None where the scan is known and waits here already. To be called inside one transaction."""
    if admitted_already(ledger, file.path, sha256) is not None:
        return None
    when = now_utc().isoformat()
    _overwritten(ledger, voice, file.path, when)
    back = ledger.gone_scan(file.path, sha256)
    if back is not None:  # the disk was away, or a person put it back
        ledger.moved(back.id, Place.INBOX, back.home, back.home, when)
        row = replace(back, place=Place.INBOX)
    else:
        row = admit(studio, ledger, file, measured, error, sha256, when)
    if row.name is not None and not belongs_elsewhere(row):
        _job_has_scan(ledger, row.name.job, when)
    return row


def _overwritten(ledger: Ledger, voice: Voice, path: Path, when: str) -> None:
    old = ledger.scan_at_home(path)
    if old is not None and old.place is Place.INBOX:
        ledger.moved(old.id, Place.GONE, old.home, old.home, when)
        text = f"{old.file} was overwritten in the inbox by another file before its job had an outcome"
        voice.say("alarm", old.name.job if old.name else "", text)


def _job_has_scan(ledger: Ledger, job: str, when: str) -> None:
    before = ledger.job(job) or JobRow(job, JobState.WAITING, first_utc=when)
    state = before.state if before.state in {JobState.ARCHIVED, JobState.REWORK} else JobState.WAITING
    now = replace(before, last_utc=when, state=state, said_unfinished=False, accepted=False, refused=False)
    ledger.put_job(now, when)
