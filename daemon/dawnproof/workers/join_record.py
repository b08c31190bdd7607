"""A join in findings and in the words of the JSON contract, whether the daemon made it or a person asked for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..assemble.parts import JoinPlan
from ..errors import JoinRefused
from ..measure.curve import ASSUMED_GAMMA, tone_curve
from ..model import Box, Finding, Level, ListedJob, Reading
from ..policy import Context, judge_scan, make_finding
from ..report.documents import finding_document, reading_document
from ..rulebook import RuleBook


def join_findings(plan: JoinPlan, book: RuleBook, listed: ListedJob | None = None) -> tuple[Finding, ...]:
    """Everything to be said of a join that was made: its readings against the book, its notes, what the overview
    says, and by which curve its gains apply."""
    judged = judge_scan(plan.readings, book, Context(listed=listed))
    notes = tuple(
        make_finding("join", note.code, Level.FAULT, note.text)
        if note.fault
        else make_finding("join", note.code, Level.NOTE, note.text, "")
        for note in plan.notes
    )
    geometry = plan.geometry
    seen: tuple[Finding, ...] = ()
    if geometry is not None:
        name = "contradiction" if geometry.level is Level.FAULT else "overview"
        seen = (make_finding("join", name, geometry.level, geometry.text),)
    return (*judged, *notes, *seen, _curve_finding(plan))


def shown_doubling(file: str, readings: Sequence[Reading], book: RuleBook) -> Finding | None:
    """Doubling beyond the limit that is not certain enough to be a fault, in a part whose stitch the joined image
    shows: somebody must look before the work leaves."""
    seam = next((r for r in readings if (r.check, r.name) == ("seam", "doubling")), None)
    limit = book.limit("seam", "doubling")
    if seam is None or seam.certain or limit is None or limit.fault is None or not isinstance(seam.value, float):
        return None
    if abs(seam.value) <= limit.fault:
        return None
    text = (
        f"the joined image shows the stitch of {file}, where a doubling of {seam.value:.1f} px is seen but not certain"
    )
    return make_finding("join", "strip_used", Level.UNDECIDED, text)


def unused_seam(finding: Finding) -> Finding:
    """A finding about a strip that the master does not show."""
    if finding.check != "seam" or finding.level is not Level.FAULT:
        return finding
    text = f"{finding.text}; the strip is not used in the master"
    return Finding(finding.check, finding.name, Level.NOTE, None, text, "", finding.where)


def _curve_finding(plan: JoinPlan) -> Finding:
    """By which curve values are linear where the gains of the parts apply."""
    curve = f"gamma {ASSUMED_GAMMA}, assumed" if tone_curve(plan.icc).assumed else "the profile's curve"
    return make_finding("join", "curve", Level.SOUND, f"gains apply to values linearised by {curve}")


def plan_document(plan: JoinPlan, out: str, findings: Sequence[Finding]) -> dict[str, Any]:
    """A join in the words of the JSON contract; `matrix` leads to the uncropped joined image."""
    return {
        "out": out or None,
        "width_px": plan.width,
        "height_px": plan.height,
        "refused": None,
        "parts": [
            {"file": p.name, "matrix": [[float(v) for v in row] for row in p.matrix],
             "gain": [float(g) for g in p.gain]}
            for p in plan.parts
        ],
        "overlaps": [
            {
                "a": o.a, "b": o.b, "share": round(o.share, 4), "residual_px": round(o.residual_px, 4),
                "warp_px": round(o.warp_px, 3), "rotation_deg": round(o.rotation_deg, 4),
                "tone_percent": round(o.tone_percent, 3), "relief": None if o.relief is None else round(o.relief, 3),
            }
            for o in plan.overlaps
        ],
        "readings": [reading_document(r) for r in plan.readings],
        "findings": [finding_document(f) for f in findings],
    }  # fmt: skip


def refusal_document(refused: JoinRefused, finding: Finding) -> dict[str, Any]:
    """A join that was refused, in the words of the JSON contract."""
    return {"out": None, "width_px": 0, "height_px": 0, "refused": refused.reason, "parts": [], "overlaps": [],
            "readings": [], "findings": [finding_document(finding)]}  # fmt: skip


def moved_to_master(document: Mapping[str, Any], box: Box) -> dict[str, Any]:
    """The same transforms, leading to the cropped master."""
    parts = [
        {
            **p,
            "matrix": [
                [*p["matrix"][0][:2], p["matrix"][0][2] - box.x],
                [*p["matrix"][1][:2], p["matrix"][1][2] - box.y],
            ],
        }
        for p in document["parts"]
    ]
    return {**document, "parts": parts, "width_px": box.width, "height_px": box.height}
