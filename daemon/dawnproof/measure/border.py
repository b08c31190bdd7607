"""Where the work ends on the scan: its outline, skew, margins, and how many works lie on the bed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar, Literal

from ..model import Frame, Reading, Where
from .band import Band
from .outline import Outline
from .overview import Overview
from .skew import TOLERANCE_DEG, Skew
from .trace import trace

_DEVIATIONS = 2.0  # the skew lies within so many standard errors in 95 of 100 works
_LITTLE = 0.1  # of the skew itself: a fault may be built on it though it is not known to the tolerance

__all__ = ["CHECK", "BorderCheck", "Outline"]


class BorderCheck:
    """Shown every band, keeps an overview; `outline()` may be asked once the last band has been seen."""

    name: ClassVar[str] = "crop"

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._overview = Overview(frame)
        self._outline: Outline | None = None

    def see(self, band: Band) -> None:
        self._overview.see(band)

    def outline(self) -> Outline:
        if self._outline is None:
            self._outline = trace(self._overview.picture(), self._overview.block, self._frame)
        return self._outline

    def readings(self, outline: Outline) -> Iterable[Reading]:
        frame, box = self._frame, outline.box
        where = frame.where(box.x, box.y, box.width, box.height)
        if not outline.found:
            for name, unit in (("skew", "degree"), ("margin", "mm"), ("works", "count")):
                yield Reading("crop", name, None, unit, sure=0.0, why=outline.why)
            return
        yield _skew(outline, where)
        yield self._margin(outline)
        yield self._works(outline)

    def _margin(self, outline: Outline) -> Reading:
        frame, box, outer = self._frame, outline.box, self._frame.outer
        gaps: dict[Literal["left", "top", "right", "bottom"], tuple[bool, float]] = {
            "left": (outer.left, frame.mm_x(box.x)),
            "top": (outer.top, frame.mm_y(box.y)),
            "right": (outer.right, frame.mm_x(frame.width_px - box.right)),
            "bottom": (outer.bottom, frame.mm_y(frame.height_px - box.bottom)),
        }
        seen = {side: gap for side, (is_outer, gap) in gaps.items() if is_outer}
        if not seen:
            return Reading("crop", "margin", None, "mm", why="all sides of this part are inner sides", certain=False)
        side = min(seen, key=lambda name: seen[name])
        return Reading("crop", "margin", round(seen[side], 2), "mm", outline.sure, side=side)

    def _works(self, outline: Outline) -> Reading:
        frame, others = self._frame, outline.other_works
        box = others[0] if others else (outline.left_out[0] if outline.left_out else None)
        where = frame.where(box.x, box.y, box.width, box.height) if box else None
        why = f"{len(outline.left_out)} thing(s) beside the work left out of the crop" if outline.left_out else ""
        return Reading("crop", "works", 1.0 + len(others), "count", outline.sure, where, why)


CHECK = BorderCheck


def _skew(outline: Outline, where: Where) -> Reading:
    """The skew, with what the sides leave open of it said where that is more than the tolerance."""
    if outline.skew_deg is None:
        why = "no straight side of the work is in the frame"
        return Reading("crop", "skew", None, "degree", outline.sure, where, why)
    skew = Skew(outline.skew_deg, outline.skew_error_deg)
    open_deg = _DEVIATIONS * skew.error_deg
    why = f"known to {open_deg:.2f} degrees only, as the edges wander" if open_deg > TOLERANCE_DEG else ""
    certain = open_deg <= max(TOLERANCE_DEG, _LITTLE * abs(skew.deg))
    return Reading("crop", "skew", round(skew.deg, 3), "degree", min(outline.sure, skew.sure), where, why, certain)
