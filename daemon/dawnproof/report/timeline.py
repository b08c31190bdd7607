"""The night along the bed's travel as a drawing: a length for each bed, works hanging on it where they came as outlines
at true relative size, their faults at their place, times nobody watched hatched."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from markupsafe import Markup

from ..model import Level, Night, shown
from .drawing import frame_mm, work_mm
from .figures import clock, local
from .night_axis import Arrival, Axis, arrivals, axis
from .watch_kept import gaps, ran_words

LEFT_PX, TOP_PX, LEVELS = 64.0, 26.0, 4
WORK_PX = 54.0  # the widest scan of the night is drawn so wide
LABEL_PX, LABEL_GAP_PX = 68.0, 15.0
TAIL_SHARE = 0.15  # of the time watched: so much is drawn of a time at the end that nobody watched


@dataclass(frozen=True, slots=True)
class Hung:
    """A scan in its place: where its time is on the bed's line, its left edge and level, sizes in px."""

    arrival: Arrival
    time_x: float
    x: float
    level: int
    width: float
    height: float


def draw_night(night: Night, width_px: float = 960.0) -> Markup:
    """Inline SVG; empty where no scan came or the night has no times."""
    whole = axis(night)
    if whole is None:
        return Markup("")
    rule = without_tail(whole, night)
    lanes = [(bed.name, arrivals(night, bed.name, rule)) for bed in night.beds]
    busiest = max((len(found) for _, found in lanes), default=0)
    if not busiest:
        return Markup("")
    width = max(width_px, LEFT_PX + busiest * (LABEL_PX + 6) / LEVELS * 1.3)
    return _Sheet(rule, width, _px_per_mm(lanes), night).drawn(lanes)


def without_tail(rule: Axis, night: Night) -> Axis:
    """The rule cut short where nobody watched any more until the end: a little of that time is enough to see."""
    last = gaps(night)[-1:]
    stopped = local(last[0].from_utc, night.offset_s) if last and last[0].to_utc == night.until_utc else None
    if stopped is None or stopped <= rule.begin:
        return rule
    return Axis(rule.begin, min(rule.end, stopped + max((stopped - rule.begin) * TAIL_SHARE, timedelta(minutes=1))))


def hang(found: tuple[Arrival, ...], length_px: float, px_per_mm: float) -> tuple[Hung, ...]:
    """A place for each scan at its time, on the first level that is free there; on the emptiest where none is."""
    ends = [-1.0] * LEVELS
    placed = []
    for arrival in found:
        width, height = (mm * px_per_mm for mm in _size_mm(arrival))
        x = arrival.share * length_px
        free = [level for level in range(LEVELS) if ends[level] <= x]
        level = free[0] if free else min(range(LEVELS), key=ends.__getitem__)
        x = max(x, ends[level]) if not free else x
        ends[level] = x + max(width, LABEL_PX) + 4
        placed.append(Hung(arrival, arrival.share * length_px, x, level, width, height))
    return tuple(placed)


def _px_per_mm(lanes: list[tuple[str, tuple[Arrival, ...]]]) -> float:
    widest = max((max(_size_mm(a)) for _, found in lanes for a in found), default=1.0)
    return WORK_PX / max(widest, 1.0)


def _size_mm(arrival: Arrival) -> tuple[float, float]:
    measured = arrival.scan.measured
    return frame_mm(measured) if measured and measured.width_px else (100.0, 100.0)


class _Sheet:
    """Draws the lanes one under the other, in px."""

    def __init__(self, rule: Axis, width: float, px_per_mm: float, night: Night) -> None:
        self._rule, self._night, self._px_per_mm = rule, night, px_per_mm
        self._width, self._length = width, width - LEFT_PX - LABEL_PX

    def drawn(self, lanes: list[tuple[str, tuple[Arrival, ...]]]) -> Markup:
        out, y = Markup(""), TOP_PX
        for bed, found in lanes:
            hung = hang(found, self._length, self._px_per_mm)
            furthest = max((LEFT_PX + one.x + max(one.width, LABEL_PX) for one in hung), default=0.0)
            self._width = max(self._width, furthest + 6)
            lane, height = self._lane(shown(bed), hung, y)
            out += lane
            y += height
        words = f"{sum(len(found) for _, found in lanes)} scans along the night. {ran_words(self._night)}"
        return Markup(
            '<svg class="night" role="img" aria-label="{}" width="{:.0f}" height="{:.0f}" viewBox="0 0 {:.0f} {:.0f}" '
            'font-size="11">{}{}{}</svg>'
        ).format(words, self._width, y, self._width, y, self._hours(y), self._unwatched(y), out)

    def _lane(self, bed: str, hung: tuple[Hung, ...], y: float) -> tuple[Markup, float]:
        """The bed's line and what hangs on it, and the height it takes."""
        levels: dict[int, float] = {}
        for one in hung:
            levels[one.level] = max(levels.get(one.level, 0.0), one.height)
        tops, top = {}, 10.0
        for level in sorted(levels):
            tops[level] = top
            top += levels[level] + LABEL_GAP_PX
        out = self._text(4, y + 4, bed, "start") + Markup('<path class="travel" d="M{:.1f} {:.1f}H{:.1f}"/>').format(
            LEFT_PX, y, LEFT_PX + self._length)  # fmt: skip
        for one in hung:  # all threads first: the frames then hide what passes behind them
            out += Markup('<path class="tick" d="M{:.1f} {:.1f}v6L{:.1f} {:.1f}"/>').format(
                LEFT_PX + one.time_x, y - 3, LEFT_PX + one.x, y + tops[one.level])  # fmt: skip
        for one in hung:
            out += self._work(one, y + tops[one.level])
        return out, max(top, 30.0) + 12

    def _work(self, one: Hung, y: float) -> Markup:
        """The scan's frame, the work in it, its faults, the pile's shape and the job's number."""
        x = LEFT_PX + one.x
        scan, scale = one.arrival.scan, self._px_per_mm
        parts = Markup("")
        if scan.measured:
            work = work_mm(scan.measured)
            parts += self._rect("frame", x, y, one.width, one.height)
            parts += self._rect("work", x + work.x * scale, y + work.y * scale, work.width * scale, work.height * scale)
        for finding in scan.findings:
            if finding.level is Level.FAULT and finding.where:
                w = finding.where
                parts += self._rect("spot", x + w.x_mm * scale, y + w.y_mm * scale,
                                    max(w.width_mm * scale, 3.0), max(w.height_mm * scale, 3.0))  # fmt: skip
        name = f"{one.arrival.shape} {shown(one.arrival.view.row.job)}"
        part = shown(scan.name.part) if scan.name else ""
        return Markup("<g><title>{}</title>{}{}</g>").format(
            f"{name} {part}", parts, self._text(x, y + one.height + 11, name, "start"))  # fmt: skip

    def _hours(self, height: float) -> Markup:
        out = Markup("")
        for tick in self._rule.ticks(int(self._length // 70)):
            x = LEFT_PX + tick.share * self._length
            out += Markup('<path class="hour" d="M{:.1f} 14V{:.1f}"/>').format(x, height - 8)
            out += self._text(x, 10, tick.words, "middle")
        return out

    def _unwatched(self, height: float) -> Markup:
        """A hatched field wherever no run was alive."""
        out = Markup("")
        for gap in gaps(self._night):
            begin, end = local(gap.from_utc, self._night.offset_s), local(gap.to_utc, self._night.offset_s)
            if begin and end:
                left, right = (LEFT_PX + self._rule.share(when) * self._length for when in (begin, end))
                out += Markup('<rect class="gap" x="{:.1f}" y="16" width="{:.1f}" height="{:.1f}"/>').format(
                    left, max(right - left, 2), height - 26)  # fmt: skip
                until = f" until {clock(gap.to_utc, self._night.offset_s)}" if end > self._rule.end else ""
                out += self._text((left + right) / 2, height - 1, f"not watched{until}", "middle")
        return out

    def _rect(self, name: str, x: float, y: float, width: float, height: float) -> Markup:
        return Markup('<rect class="{}" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}"/>').format(
            name, x, y, width, height)  # fmt: skip

    def _text(self, x: float, y: float, words: str, anchor: str) -> Markup:
        return Markup('<text class="figure" x="{:.1f}" y="{:.1f}" text-anchor="{}">{}</text>').format(
            x, y, anchor, words)  # fmt: skip
