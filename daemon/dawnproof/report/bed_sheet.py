"""The sheet to pin up at a scanner: its stitch and clear zones to scale, how wide a work may be for so many parts, the
resolution an ordered print asks for, how to name scans, and the cautions."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from ..advice import CAUTIONS, SHIM_CAUTION
from ..model import Bed, shown
from .drawing import hatch, rule_step_mm
from .paper import render

OVERLAP = 0.15  # of a part's width; 10 to 20 % are usual
PRINT_PPI = 300
ISO_A_MM = (("A4", 297), ("A3", 420), ("A2", 594), ("A1", 841), ("A0", 1189))  # ISO 216, long side
ORIGINALS_MM = (150, 210, 297, 420, 594)
MARGIN_MM = 10.0  # of lid around the work, and of frame a part needs at an outer side
_WIDTH_PX = 690.0
_NAMES = (
    ("whole", 0, "the whole work in one scan"),
    ("L", 0, "left half"),
    ("R", 0, "right half"),
    ("r1c2", 0, "first row, second column"),
    ("2of4", 0, "second of four"),
    ("R", 2, "right half, second take"),
    ("ref", 0, "white reference"),
    ("trial", 0, "a try, not kept"),
)


@dataclass(frozen=True, slots=True)
class Zone:
    """A length of the bed, from its left edge, in mm."""

    start_mm: float
    end_mm: float

    @property
    def width_mm(self) -> float:
        return self.end_mm - self.start_mm


def barred_zones(bed: Bed) -> tuple[Zone, ...]:
    """Where a lifted surface doubles: each stitch with its tolerance and half its blend either side."""
    half = bed.seam_tolerance_mm + bed.blend_mm / 2
    return tuple(Zone(seam - half, seam + half) for seam in sorted(bed.seams_mm))


def clear_zones(bed: Bed) -> tuple[Zone, ...]:
    """What lies between the barred zones and the edges of the bed."""
    edges = [0.0, *(edge for zone in barred_zones(bed) for edge in (zone.start_mm, zone.end_mm)), bed.width_mm]
    return tuple(Zone(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a)


def widest_flat(bed: Bed, parts: int) -> float:
    """Widest work in mm for so many overlapping parts of the whole bed; the stitch is used, so it must lie flat."""
    return (
        (bed.width_mm - 2 * MARGIN_MM) if parts == 1 else bed.width_mm * (parts - (parts - 1) * OVERLAP) - 2 * MARGIN_MM
    )


def widest_clear(bed: Bed, parts: int) -> float:
    """The same when every part lies within the widest clear zone: no stitch in the work at all."""
    zone = max(zone.width_mm for zone in clear_zones(bed))
    return zone * (parts - (parts - 1) * OVERLAP) - 2 * MARGIN_MM


def widest_covered(bed: Bed, parts: int) -> float | None:
    """The same for parts of the whole bed shifted so that each stitch strip is covered by another part: the shift
    is at most the narrower clear zone beside the stitch. None for one part, and for beds with several stitches."""
    zones = clear_zones(bed)
    if parts < 2 or len(zones) != 2:
        return None
    return bed.width_mm + (parts - 1) * min(zone.width_mm for zone in zones) - 2 * MARGIN_MM


def scan_ppi(original_mm: float, print_mm: float, print_ppi: float = PRINT_PPI) -> float:
    """Scan ppi a print asks for: print ppi x enlargement."""
    return print_ppi * print_mm / original_mm


def bed_sheet(bed: Bed, studio: str = "", pattern: str = "{job}_{part}[_t{take}]", example_job: str = "SL-0412",
              calibrated: str = "") -> str:  # fmt: skip
    """One A4 page as HTML. `pattern` is the studio's naming rule, `calibrated` says when and with what."""
    rows = [(parts, _mm(widest_flat(bed, parts)), _mm(widest_clear(bed, parts)), _mm(widest_covered(bed, parts)))
            for parts in (1, 2, 3, 4)]  # fmt: skip
    sizes = [(name, mm, [f"{scan_ppi(original, mm):.0f}" for original in ORIGINALS_MM]) for name, mm in ISO_A_MM]
    return render(
        "bed_sheet.html", title=f"{shown(bed.name)}, {bed.width_mm:.0f} x {bed.length_mm:.0f} mm", studio=shown(studio),
        facts=_facts(bed, calibrated), drawing=draw_bed(bed), rows=rows, originals=ORIGINALS_MM, sizes=sizes,
        print_ppi=PRINT_PPI, overlap=f"{100 * OVERLAP:.0f} %", margin=f"{MARGIN_MM:.0f}",
        names=naming_examples(pattern, example_job), pattern=shown(pattern), cautions=(*CAUTIONS, SHIM_CAUTION),
    )  # fmt: skip


def naming_examples(pattern: str, job: str) -> tuple[tuple[str, str], ...]:
    """(name, meaning) by the studio's rule."""
    return tuple((f"{_named(pattern, job, part, take)}.tif", meaning) for part, take, meaning in _NAMES)


def draw_bed(bed: Bed, marks: Sequence[tuple[float, float | None, str]] = (), width_px: float = _WIDTH_PX) -> Markup:
    """The bed from above to scale as inline SVG: rule in mm, stitch, barred and clear zones, travel from top to
    bottom. `marks` are (x mm, y mm or None for the whole travel, words)."""
    pen = _BedPen(bed, bed.width_mm / width_px)
    out = pen.outline() + pen.zones() + pen.rules()
    for number, (x_mm, y_mm, _) in enumerate(marks, 1):
        out += pen.mark(number, x_mm, y_mm)
    told = "; ".join(f"{number}: {words}" for number, (_, _, words) in enumerate(marks, 1))
    seams = ", ".join(f"{seam:.0f}" for seam in bed.seams_mm) or "none"
    return pen.sheet(
        out, f"Map of {shown(bed.name)}, {bed.width_mm:.0f} x {bed.length_mm:.0f} mm, stitch at {seams} mm. {told}"
    )


class _BedPen:
    """Draws a bed in mm; `px` is the length in mm of one pixel on the page."""

    def __init__(self, bed: Bed, px: float) -> None:
        self._bed, self._px = bed, px

    def outline(self) -> Markup:
        return Markup('<rect class="work" width="{:.1f}" height="{:.1f}"/>').format(
            self._bed.width_mm, self._bed.length_mm
        )

    def zones(self) -> Markup:
        out = Markup("")
        for zone in barred_zones(self._bed):
            strip = Markup('<rect class="fault" fill="url(#{})" x="{:.1f}" width="{:.1f}" height="{:.1f}"/>')
            out += strip.format(hatch(1 / self._px), zone.start_mm, zone.width_mm, self._bed.length_mm)
        beneath = self._bed.length_mm + 28 * self._px
        for seam in self._bed.seams_mm:
            out += _text(seam, beneath, f"stitch {seam:.0f}", "middle")
        for zone in clear_zones(self._bed):
            out += _text((zone.start_mm + zone.end_mm) / 2, beneath, f"clear {zone.width_mm:.0f}", "middle")
        return out

    def rules(self) -> Markup:
        out, px = Markup(""), self._px
        step = rule_step_mm(1 / px)
        for mm in range(0, int(self._bed.width_mm) + 1, step // 2):
            long = mm % step == 0
            out += Markup('<path class="tick" d="M{0} {1:.1f}v{2:.1f}"/>').format(
                mm, self._bed.length_mm, (9 if long else 5) * px)  # fmt: skip
            out += _text(mm, -6 * px, str(mm), "middle") if long else ""
        for mm in range(step, int(self._bed.length_mm) + 1, step):
            out += _text(-6 * px, mm + 4 * px, str(mm), "end")
        return out

    def mark(self, number: int, x_mm: float, y_mm: float | None) -> Markup:
        """A numbered ring; with a line along the whole travel where the mark has no place on it."""
        length, px = self._bed.length_mm, self._px
        run = (
            Markup('<path class="profile" d="M{:.1f} 0v{:.1f}"/>').format(x_mm, length) if y_mm is None else Markup("")
        )
        y = length / 2 if y_mm is None else y_mm
        ring = Markup('<circle class="ring" cx="{:.1f}" cy="{:.1f}" r="{:.1f}"/>').format(x_mm, y, 9 * px)
        return run + ring + _text(x_mm, y + 4 * px, str(number), "middle", "number")

    def sheet(self, content: Markup, words: str) -> Markup:
        px = self._px
        width, height = self._bed.width_mm + 50 * px, self._bed.length_mm + 56 * px
        box = f"{-36 * px:.1f} {-20 * px:.1f} {width:.1f} {height:.1f}"
        return Markup(
            '<svg class="scan" role="img" aria-label="{}" width="{:.0f}" height="{:.0f}" viewBox="{}" '
            'font-size="{:.2f}">{}</svg>'
        ).format(words, width / px, height / px, box, 11 * px, content)


def _text(x: float, y: float, words: str, anchor: str, name: str = "figure") -> Markup:
    return Markup('<text class="{}" x="{:.1f}" y="{:.1f}" text-anchor="{}">{}</text>').format(name, x, y, anchor, words)


def _facts(bed: Bed, calibrated: str) -> tuple[str, ...]:
    seams = ", ".join(f"{seam:.1f}" for seam in bed.seams_mm)
    if not seams:
        return ("No stitch: the whole bed is clear.",)
    lift = (
        f"A lift of 1 mm at the stitch doubles by {bed.parallax:.2f} mm, {bed.parallax * 400 / 25.4:.0f} px at 400 ppi."
        if bed.parallax
        else "How much a lift doubles has not been calibrated: scan a shim sheet and run `dawnproof calibrate`."
    )
    barred = "; ".join(f"{zone.start_mm:.0f} to {zone.end_mm:.0f} mm" for zone in barred_zones(bed))
    facts = (
        f"Stitch at {seams} mm from the left edge; keep what may lift away from {barred}.",
        lift,
        shown(calibrated),
    )
    return tuple(fact for fact in facts if fact)


def _named(pattern: str, job: str, part: str, take: int) -> str:
    """The pattern filled in; what stands in brackets only where its field is given."""
    values = {"job": job, "part": part, "take": str(take) if take else "", "light": "", "bed": ""}
    out, optional, inside = "", "", False
    for piece in _pieces(pattern):
        if piece in "[]":
            out += optional if piece == "]" and "\0" not in optional else ""
            optional, inside = "", piece == "["
            continue
        filled = (values.get(piece[1:-1]) or "\0") if piece[0] == "{" else piece
        if inside:
            optional += filled
        else:
            out += filled
    return shown(out.replace("\0", "…"))


def _pieces(pattern: str) -> list[str]:
    return re.findall(r"\{\w*\}|\[|\]|[^\[\]{}]+", pattern)


def _mm(width: float | None) -> str:
    return f"{width:.0f}" if width is not None and width > 0 else "-"
