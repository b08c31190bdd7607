"""Where the work ends on the scan: its outline, skew, margins, and how many works lie on the bed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from ..model import Frame, Reading
from .band import Band
from .outline import Outline
from .overview import Overview
from .trace import trace

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
        why = "" if outline.skew_deg is not None else "no straight side of the work is in the frame"
        skew = None if outline.skew_deg is None else round(outline.skew_deg, 3)
        yield Reading("crop", "skew", skew, "degree", outline.sure, where, why)
        yield self._margin(outline)
        yield self._works(outline)

    def _margin(self, outline: Outline) -> Reading:
        frame, box, outer = self._frame, outline.box, self._frame.outer
        gaps = {
            "left": (outer.left, frame.mm_x(box.x)),
            "top": (outer.top, frame.mm_y(box.y)),
            "right": (outer.right, frame.mm_x(frame.width_px - box.right)),
            "bottom": (outer.bottom, frame.mm_y(frame.height_px - box.bottom)),
        }
        seen = {name: gap for name, (is_outer, gap) in gaps.items() if is_outer}
        if not seen:
            return Reading("crop", "margin", None, "mm", why="all sides of this part are inner sides", certain=False)
        side = min(seen, key=lambda name: seen[name])
        return Reading("crop", "margin", round(seen[side], 2), "mm", outline.sure, why=f"smallest on the {side}")

    def _works(self, outline: Outline) -> Reading:
        frame, others = self._frame, outline.other_works
        box = others[0] if others else (outline.left_out[0] if outline.left_out else None)
        where = frame.where(box.x, box.y, box.width, box.height) if box else None
        why = f"{len(outline.left_out)} thing(s) beside the work left out of the crop" if outline.left_out else ""
        return Reading("crop", "works", 1.0 + len(others), "count", outline.sure, where, why)


CHECK = BorderCheck
