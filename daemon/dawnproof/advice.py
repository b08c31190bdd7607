"""What to do about a finding, with the cautions that go with every advice that concerns handling."""

from __future__ import annotations

from .model import Needs

CAUTIONS = (
    "The house's own rules come first; in doubt ask a conservator.",
    "Never lay powdery, flaking, tacky, wet, waxy or impasto media, collage or leaf face down, nor press them.",
    "Unframe only with the owner, a framer or a conservator.",
    "Weights clean, wrapped, on blank margins, and only on works that bear them.",
    "Glass dry and clean; no rings or hardware. Lower the lid by hand. Two people for large works.",
    "Light and handling are wear: from the third take on, stop and decide with the owner or a conservator.",
)
SHIM_CAUTION = "Shims are card or film under a test sheet, never under an artwork."

_FLAT = (
    "The surface did not touch the glass at the stitch. Let the work lie flat without force, or shift it so that the "
    "stitch falls on a blank margin, or scan it in parts so that another part covers the stitch"
)
_LIGHTER = "Lower the exposure until the paper white is no longer at the end of the scale, and scan again"
_SPACE = "Place the work with a few millimetres of lid visible on every outer side, and scan again"
_WIPE = "Look at the glass and the sensor at the place named; clean dry, then scan again"
_SETTINGS = "Set the scanner as the rule book asks (bits, resolution, profile), and scan again"
_STILL = "Nothing may touch the bed or the work while it is scanned; scan again"

# (check, name) -> (what mends it, whether the work is handled, what to do)
_TABLE: dict[tuple[str, str], tuple[Needs, bool, str]] = {
    ("encoding", "depth_declared"): (Needs.ARTWORK, True, _SETTINGS),
    ("encoding", "depth_true"): (
        Needs.ARTWORK,
        True,
        "The file holds fewer bits than it declares: an 8-bit step lies in the scanner's or its program's settings. " + _SETTINGS,
    ),
    ("encoding", "channels"): (Needs.ARTWORK, True, _SETTINGS),
    ("encoding", "profile"): (
        Needs.DESK,
        False,
        "Say in the rule book which profile scans without one carry ([output] assume_profile), or switch embedding on",
    ),
    ("encoding", "readable"): (Needs.ARTWORK, True, "Copy the file again from the scanner's disk; if it is damaged there too, scan again"),
    ("resolution", "ppi_x"): (Needs.ARTWORK, True, _SETTINGS),
    ("resolution", "ppi_y"): (Needs.ARTWORK, True, _SETTINGS),
    ("resolution", "effective_ppi"): (Needs.ARTWORK, True, "Scan at a higher resolution, or agree a smaller print"),
    ("resolution", "sampling"): (Needs.ARTWORK, True, _SETTINGS),
    ("resolution", "scale_plausible"): (Needs.DESK, False, "Compare the header's resolution with the scanner's setting and the bed with the rule book"),
    ("resolution", "detail_x"): (Needs.ARTWORK, True, "The scan looks enlarged after scanning: scan at the optical resolution, without enlargement"),
    ("resolution", "detail_y"): (Needs.ARTWORK, True, "The scan looks enlarged after scanning: scan at the optical resolution, without enlargement"),
    ("resolution", "halo"): (Needs.ARTWORK, True, "Switch sharpening off, and scan again"),
    ("clipping", "region"): (Needs.ARTWORK, True, _LIGHTER),
    ("seam", "doubling"): (Needs.ARTWORK, True, _FLAT),
    ("seam", "lift"): (Needs.ARTWORK, True, _FLAT),
    ("seam", "step"): (Needs.ARTWORK, True, "The two cameras differ: run the scanner's white calibration, then scan again"),
    ("seam", "shift"): (Needs.ARTWORK, True, "The two cameras lie at different heights of the image: have the scanner aligned, then scan again"),
    ("fringe", "red_green"): (Needs.ARTWORK, True, _STILL),
    ("fringe", "blue_green"): (Needs.ARTWORK, True, _STILL),
    ("travel", "wander"): (Needs.ARTWORK, True, "The work slipped or the bed was knocked. " + _STILL),
    ("travel", "rows"): (Needs.ARTWORK, True, "Rows are missing or doubled: the transfer from the scanner stumbled. Scan again"),
    ("focus", "softest"): (Needs.ARTWORK, True, "The zone is softer than the rest: the sheet may be cockled. " + _FLAT),
    ("streaks", "worst"): (Needs.ARTWORK, True, _WIPE),
    ("light", "change"): (Needs.DESK, False, "Let the lamps warm up and run the scanner's white calibration; then scan the reference again"),
    ("light", "evenness"): (Needs.DESK, False, "Run the scanner's white calibration before the next work"),
    ("crop", "skew"): (Needs.ARTWORK, True, "Lay the work parallel to the bed, and scan again"),
    ("crop", "margin"): (Needs.ARTWORK, True, _SPACE),
    ("crop", "works"): (Needs.ARTWORK, True, "One work a scan: scan each by itself under its own job number"),
    ("join", "residual"): (Needs.ARTWORK, True, "The parts do not lie in one plane. Keep the work flat the same way in every part, and scan all parts again"),
    ("join", "warp"): (Needs.ARTWORK, True, "The sheet lay differently in the parts. Keep it flat the same way, and scan all parts again"),
    ("join", "tone"): (Needs.ARTWORK, True, "Scan all parts in one go, with one exposure and one light"),
    ("join", "relief"): (Needs.ARTWORK, True, "Scan all parts the same way up and in one light; if the bed does not allow it, set both lamp banks equal and scan all parts again"),
    ("join", "overlap"): (Needs.ARTWORK, True, "Let the parts overlap by 10 to 20 % of the width, and scan the parts again"),
    ("join", "rotation"): (Needs.ARTWORK, True, "Move the work parallel to the bed between parts, and scan again"),
    ("join", "refused"): (Needs.ARTWORK, True, "Scan all parts again: same way up, one light, one session, overlapping by 10 to 20 %"),
    ("join", "contradiction"): (Needs.ARTWORK, True, "Compare the proof with the overview, or with the work: scan again the part that is missing or stands in the wrong place; where only a name is wrong, mend it with `dawnproof place`"),
    ("join", "light"): (Needs.ARTWORK, True, "Scan all parts the same way up, in one light and one session; if the bed does not allow it, set both lamp banks equal and scan all parts again"),
    ("join", "scale"): (Needs.ARTWORK, True, "Scan all parts with the same settings and the work flat on the glass"),
    ("join", "gain"): (Needs.ARTWORK, True, "Scan all parts in one go, with one exposure and one light"),
    ("job", "missing"): (Needs.ARTWORK, True, "Scan the missing part, overlapping its neighbours by 10 to 20 % of the width. Where the parts that are there show the whole work, give them the names they should have with `dawnproof place`"),
    ("job", "doubled"): (Needs.DESK, False, "Say which scan counts: give the newer one a higher take (…_t2), or take the wrong one away"),
    ("job", "contradiction"): (Needs.DESK, False, "Rename the parts so that they fit together, with `dawnproof place`"),
    ("job", "other_picture"): (Needs.DESK, False, "One of the two scans carries the wrong number: compare both with the work, and give the stranger its own name with `dawnproof place`"),
    ("job", "size"): (Needs.DESK, False, "Compare the job number, the resolution in the header and the size in the job list"),
    ("job", "refused"): (Needs.ARTWORK, True, "As the person who refused it says"),
}  # fmt: skip


def needs_of(check: str, name: str) -> Needs:
    """What mends a fault of this reading; the work itself where nothing else is known."""
    found = _TABLE.get((check, name)) or (_TABLE["clipping", "region"] if check == "clipping" else None)
    return found[0] if found else Needs.ARTWORK


def advice_for(check: str, name: str) -> str:
    """What to do, one or two sentences; '' where there is nothing to do."""
    found = _TABLE.get((check, name)) or (_TABLE["clipping", "region"] if check == "clipping" else None)
    return found[2] if found else "Scan the part again"


def is_handling(check: str, name: str) -> bool:
    """Whether following the advice means handling the work, so that the cautions must stand beside it."""
    found = _TABLE.get((check, name))
    return found[1] if found else True


def with_cautions(advice: str) -> str:
    """The advice and every caution, as one text."""
    return f"{advice}. Cautions: {' '.join(CAUTIONS)}" if advice else ""
