"""The night along the bed's travel as a drawing: for each bed its works in the order they came, as outlines at true
relative size with their faults at their place, line by line like writing; times nobody watched hatched between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from ..jobs import standing
from ..model import Bed, Level, Night, Place, shown
from .drawing import frame_mm, work_mm
from .figures import clock
from .night_axis import Arrival, arrivals, axis
from .watch_kept import Gap, gaps, ran_words

LEFT_PX, CELL_PX, TOP_PX = 64.0, 92.0, 12.0
WORK_PX = 62.0  # the widest scan of the night is drawn so wide
LABEL_PX = 30.0  # two lines of text below a work


@dataclass(frozen=True, slots=True)
class Hung:
    """What hangs in one cell of a bed's lines: a scan, or a time nobody watched. `width` and `height` in px."""

    line: int
    column: int
    width: float
    height: float
    arrival: Arrival | None = None
    gap: Gap | None = None


def draw_night(night: Night, width_px: float = 900.0) -> Markup:
    """Inline SVG, never wider than `width_px`; empty where no scan came or the night has no times."""
    rule = axis(night)
    found = [(bed, arrivals(night, bed.name, rule)) for bed in night.beds] if rule else []
    if not any(came for _, came in found):
        return Markup("")
    columns = max(int((width_px - LEFT_PX) / CELL_PX), 1)
    widest = max(max(_size_mm(a)) for _, came in found for a in came)
    lanes = [(bed, hang(came, gaps(night), WORK_PX / max(widest, 1.0), columns)) for bed, came in found if came]
    return _Sheet(night, LEFT_PX + columns * CELL_PX, WORK_PX / max(widest, 1.0)).drawn(lanes)


def hang(came: Sequence[Arrival], unwatched: Sequence[Gap], px_per_mm: float, columns: int) -> tuple[Hung, ...]:
    """Scans and unwatched times in the order of their time, `columns` a line."""
    timed: list[tuple[str, int, Arrival | Gap]] = [(one.scan.admitted_utc, 0, one) for one in came]
    timed += [(gap.from_utc, 1, gap) for gap in unwatched]
    placed = []
    for number, (_, _, one) in enumerate(sorted(timed, key=lambda entry: entry[:2])):
        line, column = divmod(number, columns)
        if isinstance(one, Gap):
            placed.append(Hung(line, column, WORK_PX, 0.0, gap=one))
        else:
            width, height = (mm * px_per_mm for mm in _size_mm(one))
            placed.append(Hung(line, column, width, height, arrival=one))
    return tuple(placed)


def is_replaced(arrival: Arrival) -> bool:
    """Whether a newer take stands in its place."""
    older = {scan.id for scan in standing(arrival.view.scans, arrival.view.listed).superseded}
    return arrival.scan.place is Place.CLOSED or arrival.scan.id in older


def _size_mm(arrival: Arrival) -> tuple[float, float]:
    measured = arrival.scan.measured
    return frame_mm(measured) if measured and measured.width_px else (100.0, 100.0)


class _Sheet:
    """Draws the lines one under the other, in px."""

    def __init__(self, night: Night, width: float, px_per_mm: float) -> None:
        self._night, self._width, self._px_per_mm = night, width, px_per_mm

    def drawn(self, lanes: Sequence[tuple[Bed, tuple[Hung, ...]]]) -> Markup:
        out, y = Markup(""), TOP_PX
        for bed, hung in lanes:
            for number in range(hung[-1].line + 1):
                line = [one for one in hung if one.line == number]
                high = max(max(one.height for one in line), 20.0)
                out += self._line(shown(bed.name) if number == 0 else "", line, y, high)
                y += high + LABEL_PX + 14
        count = sum(1 for _, hung in lanes for one in hung if one.arrival)
        words = f"{count} scans in the order they came. {ran_words(self._night)}"
        return Markup(
            '<svg class="night" role="img" aria-label="{}" width="{:.0f}" height="{:.0f}" viewBox="0 0 {:.0f} {:.0f}" '
            'font-size="12">{}</svg>'
        ).format(words, self._width, y, self._width, y, out)

    def _line(self, bed: str, line: Sequence[Hung], y: float, high: float) -> Markup:
        out = self._text(0, y + 4, bed) + Markup('<path class="travel" d="M{:.1f} {:.1f}H{:.1f}"/>').format(
            LEFT_PX, y, self._width)  # fmt: skip
        for one in line:
            x = LEFT_PX + one.column * CELL_PX + 4
            out += self._work(one, one.arrival, x, y + 8) if one.arrival else self._gap(one, x, y + 8, high)
        return out

    def _work(self, one: Hung, arrival: Arrival, x: float, y: float) -> Markup:
        """The scan's frame, the work in it, its faults; the pile's shape and the job's number, its time and part."""
        scan, scale = arrival.scan, self._px_per_mm
        drawn = self._rect("frame", x, y, one.width, one.height)
        if scan.measured:
            work = work_mm(scan.measured)
            drawn += self._rect("work", x + work.x * scale, y + work.y * scale, work.width * scale, work.height * scale)
        for finding in scan.findings:
            if finding.level is Level.FAULT and finding.where:
                w = finding.where
                drawn += self._rect("spot", x + w.x_mm * scale, y + w.y_mm * scale,
                                    max(w.width_mm * scale, 3.0), max(w.height_mm * scale, 3.0))  # fmt: skip
        name, told = f"{arrival.shape} {shown(arrival.view.row.job)}", self._told(arrival)
        if is_replaced(arrival):
            name = f"/ {shown(arrival.view.row.job)}"
            drawn += Markup('<path class="struck" d="M{:.1f} {:.1f}L{:.1f} {:.1f}"/>').format(
                x, y + one.height, x + one.width, y)  # fmt: skip
        foot = y + one.height + 13
        return Markup("<g><title>{}</title>{}{}{}</g>").format(
            f"{name} {told}", drawn, self._text(x, foot, name), self._text(x, foot + 13, told))  # fmt: skip

    def _told(self, arrival: Arrival) -> str:
        """'21:04 whole', '17:50 L, old'."""
        name, when = arrival.scan.name, clock(arrival.scan.admitted_utc, self._night.offset_s)
        part = shown(name.part)[:6] if name else ""
        return f"{when} {part}{', old' if is_replaced(arrival) else ''}"

    def _gap(self, one: Hung, x: float, y: float, high: float) -> Markup:
        gap = one.gap
        if gap is None:
            return Markup("")
        offset = self._night.offset_s
        return self._rect("gap", x, y, one.width, high) + self._text(x, y + high + 13, "not watched") + self._text(
            x, y + high + 26, f"{clock(gap.from_utc, offset)}-{clock(gap.to_utc, offset)}")  # fmt: skip

    def _rect(self, name: str, x: float, y: float, width: float, height: float) -> Markup:
        return Markup('<rect class="{}" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}"/>').format(
            name, x, y, width, height)  # fmt: skip

    def _text(self, x: float, y: float, words: str) -> Markup:
        return Markup('<text class="figure" x="{:.1f}" y="{:.1f}">{}</text>').format(x, y, words)
