"""A join by hand, in a child: parts in, one image out, nothing half-written left behind."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..assemble.join import plan_join, render
from ..assemble.parts import JoinPart, JoinSettings, Pixels
from ..errors import JoinRefused, ScanError
from ..model import Bed, Finding, Level, PartName
from ..naming import compile_rule, read_name
from ..policy import make_finding
from ..rulebook import RuleBook
from ..storage.tiff import Scan, open_scan
from ..storage.tiff_write import MasterTags, Packing, write_master
from .child import report_share
from .join_record import join_findings, plan_document, refusal_document
from .join_source import PartSource, half_strip_px, stitches_px

UNFINISHED = ".unfinished-join.part"
MOST_NAME_BYTES = 255


def unfinished(out: Path) -> Path:
    """Where a join is written until it is whole: beside its place, under a name that says what it is. What a killed
    join left there is removed by the next one to the same place."""
    room = MOST_NAME_BYTES - len(UNFINISHED)
    stem = os.fsencode(out.name)[:room].decode("utf-8", "ignore")
    return out.with_name(stem + UNFINISHED)


@dataclass(frozen=True, slots=True)
class HandJoin:
    """What a person asked for."""

    paths: tuple[str, ...]
    out: str
    book: RuleBook
    bed: Bed
    software: str


def join_by_hand(ask: HandJoin) -> dict[str, Any]:
    """The document of `join --json`; a refusal is in it, not raised."""
    with ExitStack() as stack:
        try:
            scans = [stack.enter_context(_opened(path)) for path in ask.paths]
            parts = [_part(ask, path, scan, i) for i, (path, scan) in enumerate(zip(ask.paths, scans, strict=True), 1)]
            settings = JoinSettings(most_rotation_deg=ask.book.join.max_rotation_deg,
                                    most_gain=1 + ask.book.join.max_gain_percent / 100)  # fmt: skip
            plan = plan_join(parts, settings, _planning)
        except JoinRefused as refused:
            return _refused(refused)
        bands = _told(render(plan, parts), plan.height)
        first = scans[0].facts
        tags = MasterTags(Path(ask.out).stem, tuple(Path(p).name for p in ask.paths), ask.software, "joined, uncropped")
        try:
            write_master(Path(ask.out), bands, plan.width, plan.height, plan.channels, plan.depth_bits, plan.icc,
                         (first.ppi_x or 300.0, first.ppi_y or 300.0), tags,
                         packing=Packing[ask.book.output.compression.upper()],
                         part_name=unfinished(Path(ask.out)).name)  # fmt: skip
        except ScanError as error:
            return _refused(JoinRefused("unreadable", str(error)))
    return plan_document(plan, ask.out, join_findings(plan, ask.book))


def _planning(share: float, doing: str) -> None:
    report_share(0.5 * share)


def _opened(path: str) -> Scan:
    """A part whose every pixel is there: a part cut short would be joined with what is missing."""
    try:
        scan = open_scan(Path(path))
        for _ in scan.bands():
            pass
    except ScanError as error:
        raise JoinRefused(
            "unreadable", f"{Path(path).name}: {error}", "Copy the part again, or scan it again"
        ) from error
    return scan


def _part(ask: HandJoin, path: str, scan: Scan, number: int) -> JoinPart:
    facts = scan.facts
    name = read_name(Path(path).name, compile_rule(ask.book.naming.pattern, ask.book.name))
    label = name.part if isinstance(name, PartName) and name.part != "whole" else f"{number}of{len(ask.paths)}"
    ppi = facts.ppi_x or 300.0
    seams = stitches_px(ask.bed, facts.x_position_mm, facts.width_px, ppi)
    return JoinPart(path, label, PartSource(scan), ppi, facts.icc, seams, half_strip_px(ask.bed, ppi))


def _told(bands: Iterator[Pixels], height: int) -> Iterator[Pixels]:
    row = 0
    for band in bands:
        row += band.shape[0]
        report_share(0.5 + 0.5 * row / height)
        yield band


def _refused(refused: JoinRefused) -> dict[str, Any]:
    finding: Finding = make_finding("join", "refused", Level.FAULT, refused.reason, refused.advice or None)
    return refusal_document(refused, finding)
