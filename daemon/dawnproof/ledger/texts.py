"""Values of the flow as the ledger's columns hold them, and back again."""

from __future__ import annotations

import json
import os
import urllib.parse
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from math import isfinite
from typing import Any

from pydantic import TypeAdapter

from ..model import Filing, Finding, JobRow, Measured, PartName, Place, ScanRow

_MEASURED = TypeAdapter(Measured)
_FINDINGS = TypeAdapter(tuple[Finding, ...])
_PART_NAME = TypeAdapter(PartName)
_JOB = TypeAdapter(JobRow)
_FILING = TypeAdapter(Filing)
SCAN = "id, sha256, bytes, file, part_name, bed, place, home, admitted_utc, reason, measured, thumb, findings"


def _text(kind: TypeAdapter[Any], value: object) -> str:
    """JSON of a value. JSON has no word for a number that is none: it would be kept as null, and a place with a null in
    it is never read again, nor is anything that lists its row. So it raises here, where only one file or job is lost
    to it, and by no error of the ledger, which would stop the night."""
    for at, figure in _no_numbers(kind.dump_python(value, mode="json")):
        raise ValueError(f"{at} is {figure}, no number that can be kept")
    return kind.dump_json(value).decode()


def _no_numbers(plain: object, at: str = "") -> Iterator[tuple[str, float]]:
    """Where numbers stand that are none, and what they are."""
    if isinstance(plain, float):
        if not isfinite(plain):
            yield at, plain
    elif isinstance(plain, dict):
        for key, each in plain.items():
            yield from _no_numbers(each, f"{at}.{key}" if at else key)
    elif isinstance(plain, list | tuple):
        for place, each in enumerate(plain):
            yield from _no_numbers(each, f"{at}[{place}]")


def measured_out(measured: Measured | None) -> tuple[str | None, bytes | None]:
    """What was measured as JSON, its small picture apart."""
    if measured is None:
        return None, None
    return _text(_MEASURED, replace(measured, thumb=b"")), measured.thumb


def part_out(name: PartName | None) -> str | None:
    """What a file name says, as JSON."""
    return _PART_NAME.dump_json(name).decode() if name else None


def scan_in(row: Sequence[Any]) -> ScanRow:
    """A row of the columns `SCAN`."""
    measured = replace(_MEASURED.validate_json(row[10]), thumb=row[11] or b"") if row[10] else None
    return ScanRow(
        id=row[0], sha256=row[1], size_bytes=row[2], file=row[3],
        name=_PART_NAME.validate_json(row[4]) if row[4] else None, bed=row[5], place=Place(row[6]),
        home=os.fsdecode(row[7]), admitted_utc=row[8], reason=row[9], measured=measured,
        findings=_FINDINGS.validate_json(row[12]),
    )  # fmt: skip


def filing_out(filing: Filing) -> str:
    """JSON of a plan; its paths percent-encoded, since a path may hold bytes that are no UTF-8."""
    return _text(_FILING, _with_paths(filing, lambda p: urllib.parse.quote(os.fsencode(p))))


def filing_in(text: str) -> Filing:
    """The plan that `filing_out` wrote."""
    return _with_paths(
        _FILING.validate_python(json.loads(text)), lambda p: os.fsdecode(urllib.parse.unquote_to_bytes(p))
    )


def _with_paths(filing: Filing, change: Callable[[str], str]) -> Filing:
    steps = tuple(
        replace(s, source=change(s.source), target=change(s.target), final=change(s.final)) for s in filing.steps
    )
    return replace(filing, steps=steps, copies=tuple((sha, change(path)) for sha, path in filing.copies))


def findings_out(findings: Sequence[Finding]) -> str:
    """Findings as JSON."""
    return _text(_FINDINGS, tuple(findings))


def job_out(row: JobRow) -> str:
    """A job as JSON."""
    return _text(_JOB, row)


def job_in(text: str) -> JobRow:
    """The job that `job_out` wrote."""
    return _JOB.validate_json(text)
