"""What to do about a fault in a few words, with the value to set and the name to save the new scan under."""

from __future__ import annotations

import re

from ..model import Asked, JobView, Pile, shown
from ..naming import spelled
from .account import Said, faults, once, takes, what_to_do
from .figures import listing

# the settings in advice that stands beside a scan for good; the morning knows their values
_UNSAID = re.compile(
    r"set the scanner as the rule book asks \(bits, resolution, profile\)|scan at a higher resolution", re.IGNORECASE
)
_BEGIN = re.compile(r"(?:^|(?<=\. ))[a-z]")  # of a sentence
_LIE = "lay it flat without force, clear of the stitch, or scan in parts"
_PARTS = "scan all parts again: same way up, one light, one session"
_DO: dict[tuple[str, str], str] = {
    ("encoding", "channels"): "set RGB colour",
    ("encoding", "profile"): "set a profile that the rule book allows",
    ("encoding", "readable"): "copy the file again from the scanner, or scan again",
    ("resolution", "detail_x"): "set the optical resolution, no enlargement",
    ("resolution", "detail_y"): "set the optical resolution, no enlargement",
    ("resolution", "halo"): "switch sharpening off",
    ("clipping", "region"): "lower the exposure until paper white stays below the end of the scale",
    ("seam", "doubling"): _LIE,
    ("seam", "lift"): _LIE,
    ("seam", "step"): "run the white calibration first",
    ("seam", "shift"): "have the two cameras aligned first",
    ("fringe", "red_green"): "nothing may touch bed or work during the scan",
    ("fringe", "blue_green"): "nothing may touch bed or work during the scan",
    ("travel", "wander"): "nothing may touch bed or work during the scan",
    ("travel", "rows"): "scan again, the transfer stumbled",
    ("focus", "softest"): _LIE,
    ("streaks", "worst"): "clean the glass there first",
    ("crop", "skew"): "lay it parallel to the bed",
    ("crop", "margin"): "leave some lid visible on every outer side",
    ("crop", "works"): "one work a scan",
    ("join", "overlap"): "let the parts overlap by 10 to 20 % of the width",
    ("join", "rotation"): "move it parallel to the bed between the parts",
    ("job", "missing"): "scan it, overlapping its neighbour by 10 to 20 % of the width",
    ("job", "refused"): "as the person who refused it says",
}


def to_set(check: str, name: str, asked: Asked) -> str:
    """The setting that mends it, with its value: 'set 16 bits a channel', 'set 400 ppi or more'; '' for others."""
    if check == "encoding" and name.startswith("depth"):
        return f"set {asked.bits or 16} bits a channel"
    if check == "resolution" and (name.startswith("ppi") or name in {"effective_ppi", "sampling"}):
        return f"set {asked.ppi} ppi or more" if asked.ppi else "set a higher resolution"
    if (check, name) in {("resolution", "detail_x"), ("resolution", "detail_y"), ("resolution", "halo"),
                         ("encoding", "channels")}:  # fmt: skip
        return _DO[check, name]
    return ""


def mend_words(one: Said, asked: Asked) -> str:
    """What to do about it at the scanner, in few words."""
    key = one.finding.check, one.finding.name
    known = to_set(*key, asked) or _DO.get(key, "")
    if not known and one.finding.check == "clipping":
        known = _DO["clipping", "region"]
    if not known and one.finding.check == "join":
        known = _PARTS
    return known or one.advice.partition(". ")[0]


def steps(view: JobView) -> tuple[str, ...]:
    """What to do about a job, as `what_to_do`, with the values to set where the rule book is known."""
    if view.asked == Asked():
        return what_to_do(view)
    settings = listing(once(to_set(one.finding.check, one.finding.name, view.asked) for one in faults(view)))
    told = once(_UNSAID.sub(settings, advice) if settings else advice for advice in what_to_do(view))
    return tuple(_BEGIN.sub(lambda begin: begin[0].upper(), advice) for advice in told)


def save_words(view: JobView) -> tuple[str, ...]:
    """'Save the new scan as SL-C405_whole_t2.tif' for each part that has to be scanned; nothing for the desk."""
    if not view.asked.naming or view.pile is Pile.DESK:
        return ()
    at_fault = [one.name.part for one in faults(view) if one.name]
    missing = [part.partition(" (")[0] for part in view.missing]
    names = [name for part in once((*at_fault, *missing)) if (name := next_file(view, part))]
    return tuple(f"Save the new scan as {name}" for name in names)


def next_file(view: JobView, part: str) -> str:
    """The name to save the next scan of a part under, by the naming rule; '' where the rule is not known."""
    if not view.asked.naming:
        return ""
    known = [scan.name for scan in view.scans if scan.name and scan.name.part == part]
    light, bed = (known[-1].light, known[-1].bed) if known else ("", "")
    return shown(spelled(view.asked.naming, view.row.job, part, takes(view).get(part, 0) + 1, light, bed))
