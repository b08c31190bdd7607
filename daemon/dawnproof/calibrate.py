"""One shim scan gives stitch place, blend width and parallax of a bed, written into its profile in the rule book."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

from .errors import ScanError, UsageError
from .measure.shim import ShimFit, fit_shim
from .model import MM_PER_INCH, Bed, shown
from .report.bed_sheet import bed_sheet
from .rulebook import read_book
from .storage.moves import make_folder, write_beside
from .storage.studio import BOOK, Studio, open_studio
from .storage.tiff import Scan, open_scan

MOST_ROWS = 2400  # of the middle of the scan: enough for a profile, and bounded memory
SPARE_MM = 15.0  # looked at on either side of the nominal place


def calibrate_bed(studio: Studio, file: Path, bed_name: str, shim_mm: float) -> tuple[str, ...]:
    """What was found and written, a line each. UsageError where file, bed or thickness cannot be; ScanError where the
    scan shows no stitch to measure, the rule book then untouched."""
    if not file.is_file():
        raise UsageError(f"no such file: {shown(str(file))}")
    if not 0.05 <= shim_mm <= 10:
        raise UsageError(f"a shim of {shim_mm:g} mm cannot be measured by; use card or film of 0.3 to 3 mm")
    bed = studio.book.bed(bed_name)
    with open_scan(file) as scan:
        first, fit, ppi = _fit(scan, bed, shim_mm)
    if fit.why:
        raise ScanError(f"{shown(file.name)} does not calibrate {bed.name}: {fit.why}; lay a flat, textured test sheet "
                        "evenly on the shim along the whole stitch, and scan the full width")  # fmt: skip
    seam_mm = round((first + fit.column) * MM_PER_INCH / ppi, 3)
    blend_mm, parallax = round(fit.blend_px * MM_PER_INCH / ppi, 3), round(fit.parallax, 4)
    written = _with_values(studio, bed, {"seam_mm": seam_mm, "blend_mm": blend_mm, "parallax": parallax})
    sheet = _pin_up(open_studio(studio.root), bed.name, shim_mm)
    return (
        f"{bed.name}: stitch at {seam_mm:.2f} mm, blend zone {blend_mm:.2f} mm, parallax {parallax:.4f} "
        f"(doubling {fit.doubling_px:.2f} px, uneven by {fit.uneven_px:.2f} px, at {ppi:.0f} ppi on {shim_mm:g} mm)",
        f"written to {written}; the older one is kept in {studio.private / 'rule-books'}",
        f"bed sheet to pin up: {sheet}",
    )


def _fit(scan: Scan, bed: Bed, shim_mm: float) -> tuple[int, ShimFit, float]:
    facts = scan.facts
    ppi = facts.ppi_x
    if not ppi:
        raise ScanError("the shim scan carries no resolution that can be true; without it nothing can be given in mm")
    first, past = 0, facts.width_px
    if len(bed.seams_mm) == 1 and facts.width_px * MM_PER_INCH / ppi > 0.98 * bed.width_mm:
        reach = bed.seam_tolerance_mm + SPARE_MM
        first = max(0, int((bed.seams_mm[0] - reach) * ppi / MM_PER_INCH))
        past = min(past, int((bed.seams_mm[0] + reach) * ppi / MM_PER_INCH))
    rows = min(MOST_ROWS, facts.height_px)
    pixels = scan.region(first, (facts.height_px - rows) // 2, past - first, rows)
    return first, fit_shim(pixels, ppi, shim_mm), ppi


def _with_values(studio: Studio, bed: Bed, values: dict[str, float]) -> Path:
    """The studio's rule book with these values in the bed's table, everything else as the person wrote it."""
    path = studio.root / BOOK
    text = path.read_text("utf-8")
    new = changed_book(text, bed, values)
    read_book(new, str(path))  # never written unless it can be read
    older = studio.private / "rule-books"
    make_folder(older)
    write_beside(older / f"{datetime.now(UTC):%Y%m%dT%H%M%S%f}.toml", text.encode())
    write_beside(path, new.encode(), replace=True)
    return path


def changed_book(text: str, bed: Bed, values: dict[str, float]) -> str:
    """The text of a rule book with `values` in the table of the bed; a bed that only a shipped book names gets a table
    of its own with all its values."""
    header = re.compile(rf"^\[beds\.\"?{re.escape(bed.name)}\"?\][^\n]*$", re.MULTILINE)
    found = header.search(text)
    if found is None:
        table = {"width_mm": bed.width_mm, "length_mm": bed.length_mm, "seam_tolerance_mm": bed.seam_tolerance_mm}
        lines = [f"{key} = {value}" for key, value in (table | values).items()]
        return text.rstrip("\n") + f'\n\n[beds.{bed.name}]\nlid = "{bed.lid}"\n' + "\n".join(lines) + "\n"
    end = re.compile(r"^\[", re.MULTILINE).search(text, found.end())
    stop = end.start() if end else len(text)
    body = text[found.end() : stop]
    for key, value in values.items():
        line = re.compile(rf"^([ \t]*{key}[ \t]*=[ \t]*)(\[[^\]]*\]|[^#\n]*?)([ \t]*(?:#[^\n]*)?)$", re.MULTILINE)
        body, changed = line.subn(rf"\g<1>{value}\g<3>", body, count=1)
        body = body if changed else f"\n{key} = {value}" + body
    return text[: found.end()] + body + text[stop:]


def _pin_up(studio: Studio, bed_name: str, shim_mm: float) -> Path:
    said = f"{datetime.now().astimezone():%d %b %Y}, shim of {shim_mm:g} mm"
    page = bed_sheet(studio.book.bed(bed_name), studio.root.name, studio.book.naming.pattern, calibrated=said)
    target = studio.morning / f"bed-sheet-{bed_name}.html"
    make_folder(studio.morning)
    write_beside(target, page.encode(), replace=True)
    return target
