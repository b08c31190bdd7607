"""Scans as outlines to scale: the frame with a rule in mm, the work in it, the stitch, and each fault at its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

from markupsafe import Markup

from ..model import Measured, ScanRow, SeamSample, shown
from .account import Said
from .pictures import data_uri

FALLBACK_PPI = 300.0  # as everywhere: places of a scan without resolution are told at 300 ppi
MM_PER_INCH = 25.4
HATCHES = (0.125, 0.25, 0.5, 1, 2, 4, 8)  # units of the drawing a hatching's line stands for one px
RULE_PX, TOP_PX, PROFILE_PX, TEXT_PX = 34.0, 20.0, 92.0, 11.0


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle in mm from the scan's top left."""

    x: float
    y: float
    width: float
    height: float


def frame_mm(measured: Measured) -> tuple[float, float]:
    """Width and height of the scan in mm."""
    return (measured.width_px * MM_PER_INCH / (measured.ppi_x or FALLBACK_PPI),
            measured.height_px * MM_PER_INCH / (measured.ppi_y or FALLBACK_PPI))  # fmt: skip


def work_mm(measured: Measured) -> Rect:
    """Where the work lies on the scan; the whole frame where it was not found."""
    width, height = frame_mm(measured)
    if measured.crop is None:
        return Rect(0.0, 0.0, width, height)
    across, along = width / measured.width_px, height / measured.height_px
    box = measured.crop.tight
    return Rect(box.x * across, box.y * along, box.width * across, box.height * along)


def rule_step_mm(px_per_mm: float) -> int:
    """Distance of the figures of a rule: a round even number of mm that leaves at least 34 px between them."""
    return next((step for step in (2, 10, 20, 50, 100, 200, 500) if step * px_per_mm >= 34), 1000)


def hatch(px_per_mm: float) -> str:
    """The id of the hatching whose lines lie about 7 px apart at this scale; the base template defines them."""
    number = min(range(len(HATCHES)), key=lambda index: abs(log(HATCHES[index] * px_per_mm)))
    return f"hatch{number}"


def draw_scan(scan: ScanRow, px_per_mm: float, faults: Sequence[tuple[int, Said]] = (), width_px: float = 680.0,
              picture: Markup | None = None, plain: bool = False) -> Markup:  # fmt: skip
    """A scan with its numbered faults as inline SVG. `px_per_mm` is the scale, smaller where the scan would be wider
    than `width_px`; `picture` (a data URI, '' = none) stands in for the scan's own small picture; `plain`: no rules,
    numbers and profile, for a very small one. Empty where it was not measured."""
    measured = scan.measured
    if measured is None or not measured.width_px or not measured.height_px:
        return Markup("")
    width, height = frame_mm(measured)
    profile = next(
        (one.finding.where.profile for _, one in faults if one.finding.where and one.finding.where.profile), ()
    )
    side_px = PROFILE_PX if profile else 6.0
    if plain:
        return _plain(scan, faults, width, height, width_px / width)
    scale = min(px_per_mm, (width_px - RULE_PX - side_px) / width)
    pen = _Pen(scale, width, height)
    uri = data_uri(measured.thumb) if picture is None and measured.thumb else picture
    parts = [pen.picture(uri), pen.rules(), pen.outline(work_mm(measured))]
    parts += [pen.fault(number, one) for number, one in faults if one.finding.where]
    parts.append(pen.profile(profile))
    return pen.sheet(Markup("").join(parts), side_px, _words(scan, width, height, faults))


def _plain(scan: ScanRow, faults: Sequence[tuple[int, Said]], width: float, height: float, scale: float) -> Markup:
    """The picture with a hatched field at each fault's place."""
    pen = _Pen(scale, width, height)
    thumb = scan.measured.thumb if scan.measured else b""
    spots = Markup("").join(pen.field(one) for _, one in faults)
    return Markup(
        '<svg class="scan" role="img" aria-label="{}" width="{:.0f}" height="{:.0f}" '
        'viewBox="0 0 {:.2f} {:.2f}">{}{}</svg>'
    ).format(_words(scan, width, height, faults), width * scale, height * scale, width, height,
             pen.picture(data_uri(thumb) if thumb else None), spots)  # fmt: skip


def _words(scan: ScanRow, width: float, height: float, faults: Sequence[tuple[int, Said]]) -> str:
    part = shown(scan.name.part) if scan.name else ""
    told = "; ".join(f"{number}: {one.brief}" for number, one in faults)
    return f"Outline of {shown(scan.file)} ({part}), {width:.0f} x {height:.0f} mm{'. Marked ' + told if told else ''}"


class _Pen:
    """Draws in mm; what must keep its size on paper (text, rings, ticks) is given in px."""

    def __init__(self, scale: float, width: float, height: float) -> None:
        self._scale, self._width, self._height = scale, width, height

    def _px(self, px: float) -> float:
        return px / self._scale

    def sheet(self, content: Markup, side_px: float, words: str) -> Markup:
        left, top = self._px(RULE_PX), self._px(TOP_PX)
        width, height = self._width + left + self._px(side_px), self._height + top + self._px(4)
        box = f"{-left:.2f} {-top:.2f} {width:.2f} {height:.2f}"
        return Markup(
            '<svg class="scan" role="img" aria-label="{}" width="{:.0f}" height="{:.0f}" viewBox="{}" '
            'font-size="{:.2f}">{}</svg>'
        ).format(words, width * self._scale, height * self._scale, box, self._px(TEXT_PX), content)

    def picture(self, uri: Markup | None) -> Markup:
        image = Markup('<image href="{}" width="{:.2f}" height="{:.2f}" preserveAspectRatio="none"/>').format(
            uri, self._width, self._height) if uri else Markup("")  # fmt: skip
        return image + self._rect("frame", Rect(0, 0, self._width, self._height))

    def outline(self, work: Rect) -> Markup:
        return self._rect("work", work)

    def rules(self) -> Markup:
        """A rule in mm along the upper and the left side."""
        step = rule_step_mm(self._scale)
        out = Markup("")
        for mm in range(0, int(max(self._width, self._height)) + 1, step // 2):
            long = mm % step == 0
            tick = self._px(8 if long else 4)
            if mm <= self._width:
                out += Markup('<path class="tick" d="M{0} 0v{1:.2f}"/>').format(mm, -tick)
            if mm <= self._height:
                out += Markup('<path class="tick" d="M0 {0}h{1:.2f}"/>').format(mm, -tick)
            if long and mm:
                out += self._text(mm, self._px(-10), str(mm), "middle") if mm <= self._width else ""
                out += self._text(self._px(-11), mm + self._px(4), str(mm), "end") if mm <= self._height else ""
        return out + self._text(self._px(-11), self._px(-8), "mm", "end")

    def fault(self, number: int, one: Said) -> Markup:
        """A hatched rectangle at the fault's place, at least 8 px either way, and its number in a ring beside it."""
        where = one.finding.where
        if where is None:
            return Markup("")
        least, ring = self._px(8), self._px(9)
        width, height = max(where.width_mm, least), max(where.height_mm, least)
        x = where.x_mm - (width - where.width_mm) / 2
        y = where.y_mm - (height - where.height_mm) / 2
        right = x + width + 2 * ring < self._width
        cx = x + width + ring * 1.4 if right else x - ring * 1.4
        cy = min(max(y + height / 2, ring), self._height - ring)
        figure = self._text(cx, cy + self._px(4), str(number), "middle", "number")
        return Markup('<g fill="url(#{})">{}</g><circle class="ring" cx="{:.2f}" cy="{:.2f}" r="{:.2f}"/>{}').format(
            hatch(self._scale), self._rect("fault", Rect(x, y, width, height)), cx, cy, ring, figure
        )

    def field(self, one: Said) -> Markup:
        """A filled field at the fault's place, at least 4 px either way."""
        where = one.finding.where
        if where is None:
            return Markup("")
        width, height = max(where.width_mm, self._px(4)), max(where.height_mm, self._px(4))
        x, y = where.x_mm - (width - where.width_mm) / 2, where.y_mm - (height - where.height_mm) / 2
        return Markup('<g fill="url(#{})">{}</g>').format(
            hatch(self._scale), self._rect("fault", Rect(x, y, width, height)))  # fmt: skip

    def profile(self, samples: Sequence[SeamSample]) -> Markup:
        """The doubling along the stitch as a line beside the scan, at the scan's own height."""
        told = [(s.y_mm, s.px) for s in samples if s.px is not None]
        if len(told) < 2:
            return Markup("")
        base, most = self._width + self._px(14), max(max(abs(px) for _, px in told), 1.0)
        reach = self._px(20) / most
        points = " ".join(f"{base + abs(px) * reach:.2f},{y:.2f}" for y, px in told)
        peak_y, peak = max(told, key=lambda sample: abs(sample[1]))
        return Markup(
            '<path class="tick" d="M{0:.2f} {1:.2f}V{2:.2f}"/><polyline class="profile" points="{3}"/>{4}'
        ).format(base, told[0][0], told[-1][0], points,
                 self._text(base + self._px(25), peak_y + self._px(4), f"{abs(peak):.1f} px", "start"))  # fmt: skip

    def _rect(self, name: str, rect: Rect) -> Markup:
        return Markup('<rect class="{}" x="{:.2f}" y="{:.2f}" width="{:.2f}" height="{:.2f}"/>').format(
            name, rect.x, rect.y, rect.width, rect.height)  # fmt: skip

    def _text(self, x: float, y: float, words: str, anchor: str, name: str = "figure") -> Markup:
        return Markup('<text class="{}" x="{:.2f}" y="{:.2f}" text-anchor="{}">{}</text>').format(
            name, x, y, anchor, words)  # fmt: skip
