"""What a child does with a job whose parts are all there: join them, crop, write the production master and the
proofs into a staging folder, and say what the job is worth. Nothing is moved here."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from ..assemble.join import plan_join, render
from ..assemble.parts import JoinPart, JoinPlan, JoinSettings, Pixels
from ..errors import JoinRefused
from ..model import MM_PER_INCH, Box, Finding, Level, Outcome, Role
from ..policy import judge_size, make_finding, outcome_of
from ..print_sizes import largest_prints, ordered_print
from ..report.documents import print_sizes_document
from ..storage.tiff import Scan, open_scan
from ..storage.tiff_write import MasterTags, Packing, write_master
from .child import report_share
from .closeups import Proofs
from .framing import bordered, joined_tight, whole_frame, with_outer_sides
from .job_asks import JobAsk, Made, Master, PartAsk
from .join_record import join_findings, moved_to_master, plan_document, refusal_document, shown_doubling, unused_seam
from .join_source import PartSource, half_strip_px, stitches_px

OVERVIEW = Role.OVERVIEW.value


def make_job(ask: JobAsk) -> Made:
    """What `_make` makes of the highest takes; where a session is to be tried first, of its takes when these give a
    master without a fault."""
    if ask.first and not ask.accepted:
        made = _make(replace(ask, parts=tuple(p for p in ask.parts if p.scan in ask.first or p.label == OVERVIEW)))
        if made.outcome is Outcome.ARCHIVE:
            return replace(made, used=ask.first, findings=(*made.findings, _older_takes(ask)))
    return _make(replace(ask, parts=tuple(p for p in ask.parts if p.scan not in ask.older)))


def _older_takes(ask: JobAsk) -> Finding:
    """A person must see it: a take was passed over that its name puts before the one used."""
    said = []
    for old in (p for p in ask.parts if p.scan in ask.older):
        taken = (old.label, old.light)
        higher = next(p for p in ask.parts if (p.label, p.light) == taken and p.scan not in ask.older)
        said.append(f"part {old.label} is {old.file}, not its higher take {higher.file}")
    text = f"{'; '.join(said)}: only the take used came within {ask.book.join.hours_apart:g} hours of the other parts"
    return make_finding("join", "session", Level.UNDECIDED, text)


def _make(ask: JobAsk) -> Made:
    """Join, crop, proof and judge; errors of single files are ScanErrors, a refused join is a finding. Parts in
    different lights are never joined with one another: each light has a master of its own."""
    proofs = Proofs(Path(ask.proofs), ask.book.output.proof_px)
    with ExitStack() as stack:
        scans = {part.file: stack.enter_context(open_scan(Path(part.path))) for part in ask.parts}
        ask = _overview_apart(ask)
        lights = sorted({part.light for part in ask.parts}) or [""]
        before = {part.scan: part.findings for part in ask.parts}
        ask = replace(ask, parts=tuple(with_outer_sides(part, scans[part.file], ask) for part in ask.parts))
        groups = [replace(ask, parts=tuple(p for p in ask.parts if p.light == light)) for light in lights]
        judged = [_judged(group, scans) for group in groups]
        made = _together(ask, judged, before)
        if made.outcome is Outcome.ARCHIVE:
            for one in judged:
                made = _with_master(made, one, scans, proofs, len(lights) > 1)
        else:
            beside = [(part.label, stack.enter_context(open_scan(Path(part.path)))) for part in ask.strangers]
            proofs.of_parts([*((part.label, scans[part.file]) for part in ask.parts), *beside])
        changed = dict(made.scan_findings)
        for part in ask.parts:
            proofs.add_scan(part.label, scans[part.file], part.measured, changed.get(part.scan, part.findings))
        if made.outcome is Outcome.ARCHIVE:
            for one, master in zip(judged, made.masters, strict=False):
                if one.plan is not None and one.box is not None:
                    proofs.add_cuts(one.plan, Path(ask.staging) / master.path, one.box)
        return replace(made, pictures=proofs.write())


def _overview_apart(ask: JobAsk) -> JobAsk:
    """An overview shows the whole work: it is no part to be joined, it tells whether they were joined rightly."""
    overview = next((part for part in ask.parts if part.label == OVERVIEW), None)
    return replace(ask, parts=tuple(p for p in ask.parts if p.label != OVERVIEW), overview=overview)


def _judged(ask: JobAsk, scans: Mapping[str, Scan]) -> _Joined:
    joined = _join(ask, scans) if _worth_joining(ask) else _Joined(ask)
    return _framed(joined)


def _together(ask: JobAsk, judged: Sequence[_Joined], before: Mapping[int, tuple[Finding, ...]]) -> Made:
    """What the job is worth: faults of any scan or any light count, unless a person accepted them."""
    changed = {part.scan: part.findings for part in ask.parts if part.findings != before[part.scan]}
    changed |= {scan: findings for one in judged for scan, findings in one.changed}
    findings = (*ask.findings, *(f for one in judged for f in one.findings))
    standing = [f for part in ask.parts for f in changed.get(part.scan, part.findings)]
    outcome = Outcome.ARCHIVE if ask.accepted else outcome_of([*standing, *findings])
    documents = [one.document for one in judged if one.document]
    return Made(outcome, findings, tuple(changed.items()), join=json.dumps(documents[0]) if documents else "")


@dataclass(frozen=True, slots=True)
class _Joined:
    """One light's parts, judged: the plan where they were joined, what is said of them, and the master's rectangle."""

    ask: JobAsk
    plan: JoinPlan | None = None
    parts: tuple[JoinPart, ...] = ()
    document: Mapping[str, Any] | None = None
    findings: tuple[Finding, ...] = ()
    changed: tuple[tuple[int, tuple[Finding, ...]], ...] = ()
    box: Box | None = None


def _worth_joining(ask: JobAsk) -> bool:
    """Several parts without a fault that joining could not lift: doubling at a stitch may lie in a strip not used."""
    faults = [f for part in ask.parts for f in part.findings if f.level is Level.FAULT]
    blocked = any(f.check != "seam" for f in faults) or any(f.level is Level.FAULT for f in ask.findings)
    return len(ask.parts) > 1 and (not blocked or ask.accepted)


def _join(ask: JobAsk, scans: Mapping[str, Scan]) -> _Joined:
    every = (*ask.parts, *([ask.overview] if ask.overview else []))
    parts = tuple(join_part(part, scans[part.file]) for part in every)
    settings = JoinSettings(
        most_rotation_deg=ask.book.join.max_rotation_deg, most_gain=1 + ask.book.join.max_gain_percent / 100,
        session_h=ask.book.join.hours_apart,
    )  # fmt: skip
    try:
        plan = plan_join(parts, settings, _planning)
    except JoinRefused as refused:
        text = f"the parts were not joined: {refused.reason}"
        finding = make_finding("join", "refused", Level.FAULT, text, refused.advice or None)
        return _Joined(ask, document=refusal_document(refused, finding), findings=(finding,))
    said = join_findings(plan, ask.book, ask.listed)
    used = {n.part for n in plan.notes if n.code == "strip_used"}
    unused = {n.part for n in plan.notes if n.code == "strip_not_used"} - used
    shown = [shown_doubling(p.file, p.measured.readings, ask.book) for p in ask.parts if p.file not in unused]
    said = (*said, *(finding for finding in shown if finding))
    changed = tuple((p.scan, tuple(unused_seam(f) for f in p.findings)) for p in ask.parts if p.file in unused)
    return _Joined(ask, plan, parts, plan_document(plan, "", said), said, changed)


def _planning(share: float, doing: str) -> None:
    report_share(0.5 * share)


def join_part(part: PartAsk, scan: Scan) -> JoinPart:
    """A part as the join wants it: where its stitches lie and how wide a strip around each must not be cut in. Where
    nobody knows its place on the bed, a stitch that shows itself by doubling is known all the same."""
    ppi = part.measured.ppi_x or 300.0
    seams = stitches_px(part.bed, part.measured.x_position_mm, part.measured.width_px, ppi)
    crop = part.measured.crop
    return JoinPart(part.file, part.label, PartSource(scan), ppi, scan.facts.icc, seams or _seen_stitches(part, ppi),
                    half_strip_px(part.bed, ppi), part.admitted_s, crop.tight if crop else None)  # fmt: skip


def _seen_stitches(part: PartAsk, ppi: float) -> tuple[float, ...]:
    places = [
        f.where.x_mm + f.where.width_mm / 2
        for f in part.findings
        if f.where is not None and (f.check, f.name) == ("seam", "doubling") and f.level in {Level.FAULT, Level.NOTE}
    ]
    return tuple(x * ppi / MM_PER_INCH for x in places)


def _framed(joined: _Joined) -> _Joined:
    """With the rectangle of the production master on the scan or the joined image; the measured size is judged by it.
    Parts that were not joined have none."""
    ask, plan = joined.ask, joined.plan
    if not ask.parts:
        return joined
    ppi = ask.parts[0].measured.ppi_x or 300.0
    known = all(part.measured.crop is not None for part in ask.parts)
    if plan is not None:
        tight = joined_tight(ask, plan)
        box = bordered(tight, round(ask.book.crop.border_mm * ppi / MM_PER_INCH), plan.width, plan.height)
    elif len(ask.parts) == 1 and ask.parts[0].label == "whole":
        crop = ask.parts[0].measured.crop or whole_frame(ask.parts[0].measured)
        tight, box = crop.tight, crop.box
    else:
        return joined
    if not known:  # where an outline was not found the whole frame was kept: that is no size of the work
        return replace(joined, box=box)
    size = judge_size(tight.width * MM_PER_INCH / ppi, tight.height * MM_PER_INCH / ppi, ask.listed, ask.book)
    return replace(joined, box=box, findings=(*joined.findings, *([size] if size else ())))


def _with_master(made: Made, joined: _Joined, scans: Mapping[str, Scan], proofs: Proofs, several_lights: bool) -> Made:
    """Write the production master of one light; its crop, sizes and transforms are those of the first one written."""
    ask, box = joined.ask, joined.box
    if box is None:
        return made
    first = ask.parts[0]
    scan = scans[first.file]
    bands = _cropped(render(joined.plan, joined.parts), box) if joined.plan else _cropped(scan.bands(), box)
    relative = f"data/{ask.job}{'_' + first.light if several_lights else ''}.tif"
    tags = MasterTags(job=ask.job, sources=tuple(p.file for p in ask.parts), software=ask.software,
                      description=f"production master of {ask.job}, from {len(ask.parts)} scan(s)")  # fmt: skip
    ppi = (first.measured.ppi_x or 300.0, first.measured.ppi_y or 300.0)
    shrunk = proofs.shrinker(box.width, box.height)
    written = write_master(
        Path(ask.staging) / relative, _watched(bands, shrunk.see, box.height, 0.5 if joined.plan else 0.0), box.width,
        box.height, scan.facts.channels, scan.facts.depth_bits, scan.facts.icc, ppi, tags,
        packing=Packing[ask.book.output.compression.upper()],
    )  # fmt: skip
    made = replace(made, masters=(*made.masters, Master(relative, written.sha256, written.bytes)))
    if len(made.masters) > 1:
        return made
    proofs.of_master(shrunk.picture(), scan.facts.icc)
    skew = first.measured.crop.skew_deg if first.measured.crop and not joined.plan else 0.0
    crop = {"x": box.x, "y": box.y, "width": box.width, "height": box.height, "skew_deg": skew}
    join = json.dumps(moved_to_master(joined.document, box)) if joined.document else made.join
    return replace(made, join=join, crop=json.dumps(crop), print_sizes=json.dumps(_print_sizes(ask, box)))


def _print_sizes(ask: JobAsk, box: Box) -> dict[str, Any]:
    detail = min(
        (float(r.value) for p in ask.parts for r in p.measured.readings
         if r.name in {"detail_x", "detail_y"} and isinstance(r.value, float | int) and r.certain),
        default=1.0,
    )  # fmt: skip
    wanted_mm = ask.listed.print_mm if ask.listed else None
    ordered = ordered_print(box.width, box.height, wanted_mm, detail) if wanted_mm else None
    return print_sizes_document(largest_prints(box.width, box.height, detail), ordered)


def _cropped(bands: Iterator[Pixels], box: Box) -> Iterator[Pixels]:
    row = 0
    for band in bands:
        top, bottom = max(box.y - row, 0), min(box.bottom - row, band.shape[0])
        if bottom > top:
            yield np.ascontiguousarray(band[top:bottom, box.x : box.right])
        row += band.shape[0]
        if row >= box.bottom:
            return


def _watched(bands: Iterator[Pixels], see: Any, height: int, begun: float) -> Iterator[Pixels]:
    row = 0
    for band in bands:
        see(band)
        row += band.shape[0]
        report_share(begun + (1 - begun) * 0.95 * row / height)
        yield band
