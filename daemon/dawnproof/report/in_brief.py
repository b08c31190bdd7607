"""A finding in at most seven words, with the one figure that matters and its place along the travel."""

from __future__ import annotations

import re

from ..model import Finding, Level, Reading, Where, shown
from ..policy import AT_FRAME_MM, HEADER_ROUNDING
from .figures import reach

_ON_PRINT = re.compile(r"^resolution at the ordered print size (\d+(?:\.\d+)?) ppi")

# (check, name) -> (words with the figure in braces, whether a place along the travel goes with it)
_BRIEF: dict[tuple[str, str], tuple[str, bool]] = {
    ("encoding", "depth_declared"): ("only {:.0f} bits a channel", False),
    ("encoding", "depth_true"): ("really only {:.0f} bits a channel", False),
    ("encoding", "channels"): ("{:.0f} colour channels", False),
    ("encoding", "profile"): ("colour profile missing or not allowed", False),
    ("encoding", "readable"): ("file damaged", False),
    ("resolution", "ppi_x"): ("only {:.0f} ppi across", False),
    ("resolution", "ppi_y"): ("only {:.0f} ppi along", False),
    ("resolution", "effective_ppi"): ("only {:.0f} ppi on the print", False),
    ("resolution", "sampling"): ("{:.0%} of the resolution asked for", False),
    ("resolution", "scale_plausible"): ("size and ppi do not fit", False),
    ("resolution", "detail_x"): ("enlarged, {:.0%} real detail across", False),
    ("resolution", "detail_y"): ("enlarged, {:.0%} real detail along", False),
    ("resolution", "halo"): ("sharpened, halo {:.0f} %", False),
    ("clipping", "region"): ("clipped, {:.0f} mm2", False),
    ("seam", "doubling"): ("doubling {:.0f} px", True),
    ("seam", "lift"): ("lifted {:.1f} mm", True),
    ("seam", "step"): ("tone step {:.1f}", True),
    ("seam", "shift"): ("stitch shifted {:.1f} px", True),
    ("fringe", "red_green"): ("red fringe {:.1f} px", False),
    ("fringe", "blue_green"): ("blue fringe {:.1f} px", False),
    ("travel", "wander"): ("work slipped {:.1f} px", True),
    ("travel", "rows"): ("{:.0f} bad rows", True),
    ("focus", "softest"): ("soft, {:.0%} of best", True),
    ("streaks", "worst"): ("streak {:.1f} %", False),
    ("light", "evenness"): ("light uneven by {:.1f} %", False),
    ("light", "change"): ("light changed by {:.1f} %", False),
    ("crop", "skew"): ("skewed {:.1f} degrees", False),
    ("crop", "margin"): ("edge of the work cut off", False),
    ("crop", "works"): ("{:.0f} works in one scan", False),
    ("join", "residual"): ("parts do not fit, {:.1f} px", False),
    ("join", "warp"): ("parts lay differently, {:.0f} px", False),
    ("join", "tone"): ("parts differ in tone, {:.1f} %", False),
    ("join", "relief"): ("parts lit from different sides", False),
    ("join", "overlap"): ("overlap too small, {:.0f} mm", False),
    ("join", "rotation"): ("parts turned by {:.1f} degrees", False),
    ("join", "refused"): ("parts do not join", False),
    ("join", "contradiction"): ("the join is contradicted", False),
    ("join", "light"): ("parts lit from different sides", False),
    ("join", "scale"): ("parts differ in scale", False),
    ("join", "gain"): ("parts differ in tone", False),
    ("job", "missing"): ("part missing", False),
    ("job", "doubled"): ("two scans claim one part", False),
    ("job", "contradiction"): ("parts do not go together", False),
    ("job", "other_picture"): ("another picture under this number", False),
    ("job", "size"): ("size is not the job list's", False),
    ("job", "refused"): ("refused by a person", False),
}

_NAMES: dict[str, str] = {
    "encoding": "bits and profile",
    "resolution": "resolution",
    "clipping": "clipping",
    "seam": "the stitch",
    "fringe": "colour fringes",
    "travel": "slipping",
    "focus": "sharpness",
    "streaks": "streaks",
    "light": "light",
    "crop": "the edges",
    "join": "the join",
    "job": "the job",
}


def check_words(check: str) -> str:
    """What a check looks at, in the trade's words."""
    return _NAMES.get(check, shown(check).replace("_", " "))


def in_brief(finding: Finding, reading: Reading | None = None, missing: tuple[str, ...] = ()) -> str:
    """The finding in few words. `reading` gives the figure, `missing` the parts that never came."""
    if finding.level is Level.UNDECIDED:
        return f"{check_words(finding.check)} not judged"
    if (finding.check, finding.name) == ("job", "missing") and missing:
        parts = ", ".join(shown(part) for part in missing)
        return f"part{'s' if len(missing) > 1 else ''} {parts} missing"
    words, placed = _BRIEF.get((finding.check, finding.name), ("", False))
    if not words:
        return _head(finding.text)
    value = reading.value if reading else None
    if finding.name in {"ppi_x", "ppi_y"} and (printed := _ON_PRINT.search(finding.text)):
        return f"only {printed[1]} ppi on the print"
    if (finding.check, finding.name) == ("streaks", "worst") and finding.where and isinstance(value, float | int):
        return f"streak {abs(value):.1f} %, {finding.where.x_mm:.0f} mm from left"
    if (finding.check, finding.name) == ("crop", "margin") and isinstance(value, float | int) and value >= AT_FRAME_MM:
        return f"only {value:.1f} mm of lid beside it"
    if "{" in words:
        if isinstance(value, str) or value is None:
            return _head(finding.text)
        words = _exact(words, abs(value)).format(abs(value))
    return f"{words} at {most_at(finding.where):.0f} mm" if placed and finding.where else words


def is_brief(finding: Finding) -> bool:
    """Whether there are few words for it; of others only the beginning of the sentence can be told."""
    return (finding.check, finding.name) in _BRIEF


def most_at(where: Where) -> float:
    """Where along the travel it is worst, in mm from the top: the peak of the profile, else the place's beginning."""
    measured = [sample for sample in where.profile or () if sample.px is not None]
    return max(measured, key=lambda sample: abs(sample.px or 0.0)).y_mm if measured else where.y_mm


def place(where: Where) -> str:
    """A place on the scan in words, from its top left, with the worst point along the seam."""
    across, along = reach(where.x_mm, where.width_mm), reach(where.y_mm, where.height_mm)
    worst = f", worst at {most_at(where):.0f} mm" if where.profile and where.height_mm >= 2 else ""
    return f"{across} from the left, {along} from the top{worst}"


def _exact(words: str, value: float) -> str:
    """Small figures keep one decimal: 'doubling 2 px' must not stand for 2.4; nor 'only 300 ppi' for 299.7."""
    if value < 3:
        words = words.replace("{:.0f} px", "{:.1f} px")
    return words if abs(value - round(value)) <= HEADER_ROUNDING * value else words.replace("{:.0f} ppi", "{:.1f} ppi")


def _head(text: str) -> str:
    return shown(text.partition(";")[0].partition(" (")[0])
