"""Values as JSON-able documents: what `examine`, `job` and `verify` print with --json and what record.json holds.

Every number is a plain int or float, never NaN or infinite: what is not a number is null.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from ..model import (
    Crop,
    Decision,
    Finding,
    JobView,
    Measured,
    MoveRow,
    Outcome,
    Reading,
    Role,
    ScanRow,
    Where,
)
from ..print_sizes import OrderedPrint, PrintSize

Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class BagState:
    """What a re-reading of one bag found. Paths are relative to the bag."""

    job: str
    version: int
    changed: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    extra: tuple[str, ...] = ()
    unreadable: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        return not (self.changed or self.missing or self.extra or self.unreadable)


def to_json(document: Document) -> str:
    """The document as text: pure ASCII, so that no name can steer a terminal; a number that is none raises."""
    return json.dumps(document, indent=2, ensure_ascii=True, allow_nan=False)


def examine_document(dawnproof: str, book: str, scans: Sequence[Document]) -> Document:
    """`examine --json`; `scans` are scan_document's, in the order the files were given."""
    return {"dawnproof": dawnproof, "book": book, "scans": list(scans)}


def scan_document(file: str, measured: Measured | None, findings: Iterable[Finding] = (),
                  outcome: Outcome = Outcome.REWORK, error: str | None = None,
                  sha256: str | None = None) -> Document:  # fmt: skip
    """One entry of `examine --json`. Where `error` is set, or nothing was measured, lists are empty, numbers null,
    and the outcome is rework; the digest (`sha256`) stands where it could still be taken."""
    if error is not None or measured is None:
        return {
            "file": file,
            "sha256": measured.sha256 if measured else sha256,
            "bytes": None,
            "width_px": None,
            "height_px": None,
            "outcome": Outcome.REWORK.value,
            "readings": [],
            "findings": [],
            "crop": None,
            "error": error or "the scan was not measured",
        }
    return {
        "file": file,
        "sha256": measured.sha256,
        "bytes": int(measured.size_bytes),
        "width_px": int(measured.width_px),
        "height_px": int(measured.height_px),
        "outcome": outcome.value,
        "readings": [reading_document(r) for r in measured.readings],
        "findings": [finding_document(f) for f in findings],
        "crop": crop_document(measured.crop),
        "error": None,
    }


def record_document(view: JobView, dawnproof: str, book: str) -> Document:
    """record.json of one job. `parts` are the scans of the view, in its order; `findings` those of the job as a
    whole, which belong to no single part."""
    row = view.row
    of_parts = {finding for scan in view.scans for finding in scan.findings}
    return {
        "dawnproof": dawnproof,
        "job": row.job,
        "version": int(row.version),
        "outcome": row.outcome.value if row.outcome else None,
        "kind": row.kind,
        "book": book,
        "parts": [part_document(scan) for scan in view.scans],
        "findings": [finding_document(f) for f in row.findings if f not in of_parts],
        "join": _held(row.join),
        "crop": _held(row.crop),
        "print_sizes": _held(row.print_sizes),
        "decisions": [decision_document(d) for d in view.decisions],
    }


def job_document(view: JobView, moves: Iterable[MoveRow], dawnproof: str, book: str) -> Document:
    """`job --json`: the record and how the job stands."""
    return record_document(view, dawnproof, book) | {
        "state": view.row.state.value,
        "pile": view.pile.value if view.pile else None,
        "waits_for": view.row.waits_for,
        "moves": [
            {"sha256": m.sha256, "from": m.source, "to": m.target, "when_utc": m.when_utc} for m in moves
        ],
    }  # fmt: skip


def verify_document(bags: Iterable[BagState]) -> Document:
    """`verify --json`."""
    return {"bags": [
        {"job": bag.job, "version": bag.version, "ok": bag.ok, "changed": list(bag.changed),
         "missing": list(bag.missing), "extra": list(bag.extra), "unreadable": list(bag.unreadable)}
        for bag in bags
    ]}  # fmt: skip


def print_sizes_document(largest: Iterable[PrintSize], ordered: OrderedPrint | None = None) -> Document:
    """`print_sizes` of record.json: the largest print at each resolution, and what the ordered size gives."""
    return {
        "largest": [
            {"ppi": p.ppi, "width_mm": number(p.width_mm), "height_mm": number(p.height_mm)} for p in largest
        ],
        "ordered": None if ordered is None else {
            "long_mm": number(ordered.long_mm), "short_mm": number(ordered.short_mm),
            "effective_ppi": number(ordered.effective_ppi, 1),
        },
    }  # fmt: skip


def part_document(scan: ScanRow) -> Document:
    """One scan of a job, as record.json lists it."""
    name, measured = scan.name, scan.measured
    return {
        "part": name.part if name else None,
        "take": name.take if name else None,
        "role": (name.role if name else Role.WORK).value,
        "file": scan.file,
        "sha256": scan.sha256,
        "bytes": int(scan.size_bytes),
        "bed": scan.bed,
        "admitted_utc": scan.admitted_utc,
        "readings": [reading_document(r) for r in measured.readings] if measured else [],
        "findings": [finding_document(f) for f in scan.findings],
    }


def reading_document(reading: Reading) -> Document:
    """One reading; a value that is not finite is null."""
    value = reading.value if isinstance(reading.value, str) else number(reading.value)
    return {
        "check": reading.check,
        "name": reading.name,
        "value": value,
        "unit": reading.unit,
        "sure": number(reading.sure, 4) or 0.0,
        "where": where_document(reading.where),
    }


def finding_document(finding: Finding) -> Document:
    """One finding."""
    return {
        "check": finding.check,
        "name": finding.name,
        "level": finding.level.value,
        "needs": finding.needs.value if finding.needs else None,
        "text": finding.text,
        "advice": finding.advice,
    }


def where_document(where: Where | None) -> Document | None:
    """A place in mm, with the profile along the seam where there is one."""
    if where is None:
        return None
    place: Document = {
        "x_mm": number(where.x_mm, 3),
        "y_mm": number(where.y_mm, 3),
        "width_mm": number(where.width_mm, 3),
        "height_mm": number(where.height_mm, 3),
    }
    if where.profile is not None:
        place["profile"] = [
            {"y_mm": number(s.y_mm, 3), "px": number(s.px, 3), "mm": number(s.mm, 4), "sure": number(s.sure, 4)}
            for s in where.profile
        ]
    return place


def crop_document(crop: Crop | None) -> Document | None:
    """The crop rectangle in whole pixels of the unrotated scan, skew positive = clockwise on screen."""
    if crop is None:
        return None
    box = crop.box
    return {
        "x": int(box.x),
        "y": int(box.y),
        "width": int(box.width),
        "height": int(box.height),
        "skew_deg": number(crop.skew_deg, 4) or 0.0,
    }


def decision_document(decision: Decision) -> Document:
    """What a person decided."""
    return asdict(decision)


def number(value: object, decimals: int | None = None) -> int | float | None:
    """A plain int or finite float, also of an array's scalar; None for anything else."""
    if value is None or isinstance(value, bool | str):
        return None
    try:
        plain = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return None
    if not math.isfinite(plain):
        return None
    if isinstance(value, int):
        return value
    return plain if decimals is None else round(plain, decimals)


def _held(text: str) -> Any:
    """A document the ledger keeps as text; null where there is none."""
    return json.loads(text, parse_constant=lambda _: None) if text else None
