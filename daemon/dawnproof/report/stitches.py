"""What a joined image shows of the stitches of its parts, in mm, and whether doubling was looked for there."""

from __future__ import annotations

import re

from ..model import MM_PER_INCH, Finding, JobView, Level, Reading, ScanRow, shown
from .account import parts
from .drawing import FALLBACK_PPI
from .figures import listing

_AT_PX = re.compile(r" at (\d+) px ")


def stitch_words(view: JobView) -> str:
    """'the final picture shows the stitch of part L at 50 mm; doubling was looked for there and none was found (0.2 px
    at most)'; '' where no note says that a stitch is shown."""
    told = [f for f in view.row.findings if is_shown_stitch(f)]
    pairs = [(scan, f) for scan in parts(view) for f in told if scan.file in f.text]
    if not pairs:
        return ""
    places = [f"{_part(scan)} at {_place_mm(scan, finding):.0f} mm" for scan, finding in pairs]
    scans = list({scan.id: scan for scan, _ in pairs}.values())
    return f"the final picture shows the stitch of {listing(places, 8)}; {_looked(scans)}"


def is_shown_stitch(finding: Finding) -> bool:
    """Whether it is the join's note that the joined image shows a stitch."""
    return (finding.check, finding.name, finding.level) == ("join", "strip_used", Level.NOTE)


def _looked(scans: list[ScanRow]) -> str:
    """What the look for doubling at these stitches found."""
    found = [(scan, _doubling(scan)) for scan in scans]
    seen = [(scan, abs(float(r.value))) for scan, r in found if r and isinstance(r.value, float | int)]
    noted = [(scan, px) for scan, px in seen if _is_noted(scan)]
    unknown = [_part(scan) for scan, r in found if r is None or r.value is None]
    words = []
    if noted:
        words.append(f"doubling was looked for there: {listing([f'{_part(s)} {px:.1f} px' for s, px in noted], 8)}")
    quiet = [px for scan, px in seen if not _is_noted(scan)]
    if quiet:
        begin = "in the others" if noted else "doubling was looked for there and"
        words.append(f"{begin} none was found ({max(quiet):.1f} px at most)")
    if unknown:
        words.append(f"it could not be judged in {listing(unknown, 8)}, look there at 1:1")
    return "; ".join(words)


def _is_noted(scan: ScanRow) -> bool:
    return any((f.check, f.name) == ("seam", "doubling") and f.level is not Level.SOUND for f in scan.findings)


def _doubling(scan: ScanRow) -> Reading | None:
    readings = scan.measured.readings if scan.measured else ()
    return next((r for r in readings if (r.check, r.name) == ("seam", "doubling")), None)


def _place_mm(scan: ScanRow, finding: Finding) -> float:
    """From the scan's left edge."""
    reading, at = _doubling(scan), _AT_PX.search(finding.text)
    if at:
        return int(at[1]) * MM_PER_INCH / ((scan.measured.ppi_x if scan.measured else None) or FALLBACK_PPI)
    return reading.where.x_mm + reading.where.width_mm / 2 if reading and reading.where else 0.0


def _part(scan: ScanRow) -> str:
    label = scan.name.part if scan.name else ""
    return "the whole" if label == "whole" else f"part {shown(label)}"
