"""Readings and limits give findings; findings give the outcome and the pile. No disk, no clock."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from .advice import advice_for, is_handling, needs_of, with_cautions
from .measure.finite import finite
from .model import (
    MM_PER_INCH,
    Finding,
    Level,
    Limit,
    ListedJob,
    Needs,
    Outcome,
    Pile,
    Reading,
    Role,
)
from .print_sizes import ordered_print
from .rulebook import RuleBook

LOOK_CHECKS = ("seam", "clipping", "crop", "join", "focus")
# they explain the doubling or add to it; alone, not judged, they hold nothing back
EXPLAINS = {("seam", "lift"), ("seam", "step"), ("seam", "shift")}
SIDE_ROLES = {Role.BACK, Role.OVERVIEW, Role.REF, Role.TARGET, Role.SHIM, Role.TRIAL}
SIZE_NOTE_MM = 10.0
# share by which a header may miss the whole ppi meant: one decimal of px/cm (118.1 for 300 ppi), from 100 px/cm on
HEADER_ROUNDING = 5e-4
MOST_DECIMALS = 3  # as many as a reading keeps
AT_FRAME_MM = 0.05  # a margin below this would be told as 0.0 mm: the work runs out of the frame

# (check, name) -> (words before the figure, decimals)
_WORDS: dict[tuple[str, str], tuple[str, int]] = {
    ("encoding", "depth_declared"): ("bits a channel", 0),
    ("encoding", "depth_true"): ("bits really used", 0),
    ("encoding", "channels"): ("channels", 0),
    ("resolution", "ppi_x"): ("resolution across", 0),
    ("resolution", "ppi_y"): ("resolution along", 0),
    ("resolution", "effective_ppi"): ("resolution at the ordered print size", 0),
    ("resolution", "sampling"): ("share of the pixels or ppi the level asks for", 2),
    ("resolution", "scale_plausible"): ("size from the header", 0),
    ("resolution", "detail_x"): ("share of the resolution that holds detail, across", 2),
    ("resolution", "detail_y"): ("share of the resolution that holds detail, along", 2),
    ("resolution", "halo"): ("sharpening halo", 1),
    ("resolution", "noise"): ("noise", 3),
    ("clipping", "high_red"): ("red clipped in the lights", 2),
    ("clipping", "high_green"): ("green clipped in the lights", 2),
    ("clipping", "high_blue"): ("blue clipped in the lights", 2),
    ("clipping", "low_red"): ("red clipped in the darks", 2),
    ("clipping", "low_green"): ("green clipped in the darks", 2),
    ("clipping", "low_blue"): ("blue clipped in the darks", 2),
    ("clipping", "region"): ("largest clipped area", 0),
    ("seam", "doubling"): ("doubling at the stitch", 1),
    ("seam", "lift"): ("lift at the stitch", 2),
    ("seam", "step"): ("tone step at the stitch", 1),
    ("seam", "shift"): ("shift along the stitch", 2),
    ("fringe", "red_green"): ("red against green", 2),
    ("fringe", "blue_green"): ("blue against green", 2),
    ("travel", "wander"): ("sideways slip during the scan", 1),
    ("travel", "rows"): ("rows missing or doubled", 0),
    ("focus", "softest"): ("sharpness of the softest zone against the best", 2),
    ("streaks", "count"): ("streaks", 0),
    ("streaks", "worst"): ("a streak differs from its surroundings by", 2),
    ("light", "evenness"): ("unevenness of the light", 1),
    ("light", "change"): ("change of the light", 1),
    ("crop", "skew"): ("skew", 2),
    ("crop", "margin"): ("margin around the work", 1),
    ("crop", "works"): ("works on the bed", 0),
    ("join", "residual"): ("the parts miss each other by", 2),
    ("join", "warp"): ("warp between the parts", 1),
    ("join", "tone"): ("tone difference between the parts", 1),
    ("join", "relief"): ("agreement of the relief's light", 2),
    ("join", "overlap"): ("overlap", 0),
    ("join", "rotation"): ("turn between the parts", 2),
    ("job", "size"): ("size against the job list", 1),
}


_UNITS = {"1/in": "ppi", "degree": "degrees", "CIEDE2000": "delta E", "dE00": "delta E", "count": "", "bit": ""}


@dataclass(frozen=True, slots=True)
class Context:
    """What policy must know beside the readings. `seam_unused`: the master does not use the stitch strip of this part.
    `recurring`: streaks of this scan stand at the same place in another job, so they are the scanner's."""

    role: Role = Role.WORK
    listed: ListedJob | None = None
    width_px: int = 0
    height_px: int = 0
    ppi: float | None = None
    whole: bool = True
    seam_unused: bool = False
    recurring: bool = False


def judge_scan(readings: Iterable[Reading], book: RuleBook, context: Context) -> tuple[Finding, ...]:
    """One finding a reading that has a limit or could not be taken, in the order of the readings."""
    held = [_as_meant(finite(reading)) for reading in readings]
    held += _sampling(held, book, context)
    findings = [_judge(reading, book, context) for reading in held]
    return tuple(_softened(finding, context) for finding in findings if finding is not None)


def judge_size(width_mm: float, height_mm: float, listed: ListedJob | None, book: RuleBook) -> Finding | None:
    """Measured size against the job list, either way round; None where the list states none."""
    if listed is None or not listed.width_mm or not listed.height_mm:
        return None
    stated = (listed.width_mm, listed.height_mm)
    percent, mm = min(
        (max(abs(w - s) / s * 100 for w, s in pairs), max(abs(w - s) for w, s in pairs))
        for pairs in (tuple(zip((width_mm, height_mm), stated, strict=True)),
                      tuple(zip((height_mm, width_mm), stated, strict=True)))
    )  # fmt: skip
    limit = book.limit("job", "size") or Limit(3.0, 10.0)
    level = _level(percent, limit, certain=True)
    if level is Level.SOUND and mm > SIZE_NOTE_MM:
        level = Level.NOTE
    text = (
        f"the work measures {width_mm:.0f} x {height_mm:.0f} mm, the job list says {listed.width_mm:.0f} x "
        f"{listed.height_mm:.0f} mm ({percent:.1f} % apart)"
    )
    return make_finding("job", "size", level, text)


def make_finding(check: str, name: str, level: Level, text: str, advice: str | None = None,
                 needs: Needs | None = None) -> Finding:  # fmt: skip
    """A finding with its advice; needs and advice only where there is something to mend."""
    if level is Level.SOUND:
        return Finding(check, name, level, None, text)
    advice = advice_for(check, name) if advice is None else advice
    mends = (needs or needs_of(check, name)) if level is Level.FAULT else None
    if level is Level.FAULT and mends is Needs.ARTWORK and is_handling(check, name):
        advice = with_cautions(advice)
    return Finding(
        check, name, level, mends, text, advice if level is not Level.UNDECIDED else "Look at the close-up at 1:1"
    )


def outcome_of(findings: Iterable[Finding]) -> Outcome:
    """Rework where there is any fault."""
    return Outcome.REWORK if any(f.level is Level.FAULT for f in findings) else Outcome.ARCHIVE


def pile_of(outcome: Outcome, findings: Sequence[Finding], hold: bool, second_missing: bool = False) -> Pile:
    """Where the morning puts a job that has an outcome."""
    if outcome is Outcome.REWORK:
        faults = [f for f in findings if f.level is Level.FAULT]
        at_desk = bool(faults) and all(f.needs is Needs.DESK for f in faults)
        return Pile.DESK if at_desk else Pile.SCAN_AGAIN
    undecided = any(f.level is Level.UNDECIDED and holds_back(f) for f in findings)
    return Pile.LOOK_FIRST if undecided or hold or second_missing else Pile.MAY_GO_BACK


def holds_back(finding: Finding) -> bool:
    """Whether an undecided finding matters for returning the work: one with nothing to look at does not."""
    return finding.check in LOOK_CHECKS and (finding.check, finding.name) not in EXPLAINS and finding.asked


def _as_meant(reading: Reading) -> Reading:
    """A header's ppi freed of its rounding: 118.11 px/cm is 300 ppi, not 299.999; the record keeps what it says."""
    if reading.check != "resolution" or reading.name not in {"ppi_x", "ppi_y"} or not isinstance(reading.value, float):
        return reading
    whole = float(round(reading.value))
    return replace(reading, value=whole) if abs(reading.value - whole) <= HEADER_ROUNDING * whole else reading


def _sampling(readings: Sequence[Reading], book: RuleBook, context: Context) -> list[Reading]:
    """Where a published level asks for pixels or ppi: one reading, the better of the two ratios."""
    asked = book.limits.get(("resolution", "sampling"))
    values = [r.value for r in readings if r.check == "resolution" and r.name in {"ppi_x", "ppi_y"}]
    ppi = [v for v in values if isinstance(v, float | int)]
    if context.role in SIDE_ROLES or not (asked and asked.px and asked.ppi and ppi and context.width_px):
        return []
    ratio = max(max(context.width_px, context.height_px) / asked.px, min(ppi) / asked.ppi)
    return [Reading("resolution", "sampling", round(ratio, 4), "")]


def _at_print_size(reading: Reading, context: Context) -> Reading | None:
    """The resolution left at the ordered print size, where the job list states it."""
    listed = context.listed
    if listed is None or not listed.print_mm or not isinstance(reading.value, float | int):
        return None
    if listed.width_mm and listed.height_mm:
        effective = reading.value * max(listed.width_mm, listed.height_mm) / listed.print_mm
    elif context.whole and context.width_px:
        effective = ordered_print(context.width_px, context.height_px, listed.print_mm).effective_ppi
    else:
        return None
    return replace(reading, name="effective_ppi", value=round(effective, 1), why=f"scanned at {reading.value:.0f} ppi")


def _judge(reading: Reading, book: RuleBook, context: Context) -> Finding | None:
    if reading.value is None:
        if (reading.check, reading.name) == ("encoding", "profile"):
            return _profile(None, book, context, reading.why)
        label = _label(reading)
        why = reading.why or "there was nothing to measure it on"
        text = f"{label} could not be judged: {why}"
        undecided = make_finding(reading.check, reading.name, Level.UNDECIDED, text)
        return undecided if reading.certain else replace(undecided, advice="", asked=False)
    if isinstance(reading.value, str):
        if (reading.check, reading.name) == ("encoding", "profile"):
            return _profile(reading.value, book, context, reading.why)
        return None
    if reading.name in {"ppi_x", "ppi_y"} and (printed := _at_print_size(reading, context)) is not None:
        found = _judge(printed, book, context)
        return replace(found, name=reading.name) if found else None
    limit = book.limit(reading.check, reading.name)
    if limit is None:
        return None
    if (reading.check, reading.name) == ("seam", "doubling"):
        limit = _doubling_limit(limit, context)
    level = _level(float(reading.value), limit, reading.certain or (reading.name == "worst" and context.recurring))
    finding = make_finding(reading.check, reading.name, level, _text(reading, limit, level))
    return replace(finding, where=reading.where)


def _level(value: float, limit: Limit, certain: bool) -> Level:
    if limit.fault is not None and certain and _worse(value, limit.fault, limit):
        return Level.FAULT
    if limit.note is not None and _worse(value, limit.note, limit):
        return Level.NOTE
    if limit.fault is not None and limit.note is None and _worse(value, limit.fault, limit):
        return Level.NOTE
    return Level.SOUND


def _worse(value: float, bound: float, limit: Limit) -> bool:
    size = value if limit.below else abs(value)
    if size == bound:
        return limit.strict
    return size < bound if limit.below else size > bound


def _doubling_limit(limit: Limit, context: Context) -> Limit:
    """2 px or 0.1 mm on the ordered print, whichever is larger."""
    listed = context.listed
    if not (listed and listed.print_mm and listed.width_mm and listed.height_mm and limit.fault and context.ppi):
        return limit
    enlargement = listed.print_mm / max(listed.width_mm, listed.height_mm)
    return replace(limit, fault=max(limit.fault, 0.1 / enlargement * context.ppi / MM_PER_INCH))


def _profile(value: str | None, book: RuleBook, context: Context, why: str) -> Finding | None:
    if value is None or value == "":
        assumed = book.output.assume_profile
        if assumed:
            return make_finding("encoding", "profile", Level.NOTE, f"no usable profile ({why or 'none embedded'}); "
                                f"{assumed} is assumed, as the rule book says")  # fmt: skip
        level = Level.NOTE if context.role in SIDE_ROLES else Level.FAULT
        return make_finding("encoding", "profile", level, f"no usable colour profile: {why or 'none is embedded'}")
    rules = book.limits.get(("encoding", "profile"))
    if rules and rules.allowed and not any(a.casefold() in value.casefold() for a in rules.allowed):
        return make_finding("encoding", "profile", Level.FAULT,
                            f"profile {value!r}; {rules.source or 'the rule book'} allows {', '.join(rules.allowed)}",
                            needs=Needs.ARTWORK, 
                            advice="Set the scanner's output to a profile that is allowed, and scan again")  # fmt: skip
    return make_finding("encoding", "profile", Level.SOUND, f"profile {value!r}")


def _softened(finding: Finding, context: Context) -> Finding:
    """A fault that does not matter here becomes a note that says why."""
    if context.role in SIDE_ROLES and finding.level is Level.UNDECIDED:
        return replace(finding, advice="", asked=False)  # what is not the work itself holds the work back no longer
    if finding.level is not Level.FAULT:
        return finding
    if context.seam_unused and finding.check == "seam":
        return Finding(finding.check, finding.name, Level.NOTE, None,
                       f"{finding.text}; the strip is not used in the master", "", finding.where)  # fmt: skip
    if context.role in SIDE_ROLES and finding.check != "light":
        return Finding(finding.check, finding.name, Level.NOTE, None, finding.text, "", finding.where)
    return finding


def _label(reading: Reading) -> str:
    return _WORDS.get((reading.check, reading.name), (f"{reading.check} {reading.name}".replace("_", " "), 2))[0]


def _text(reading: Reading, limit: Limit, level: Level) -> str:
    """The figure, its place and its limit in plain words."""
    label, decimals = _WORDS.get((reading.check, reading.name), (_label(reading), 2))
    sound = level is Level.SOUND
    if (reading.check, reading.name) == ("resolution", "scale_plausible"):
        why = f": {reading.why}" if reading.why else ""
        return f"{label} is {'' if sound else 'not '}plausible{why}"
    unit = _UNITS.get(reading.unit, reading.unit)
    value = float(reading.value or 0)
    figure = f"{value:.{decimals if sound else _telling(value, limit, decimals)}f} {unit}".strip()
    doubt = "" if reading.certain or sound else "; not certain enough to be a fault by itself"
    if (reading.check, reading.name) == ("crop", "margin") and not sound:
        return f"{_margin_words(reading, limit, level, figure)}{doubt}"
    why = f" ({reading.why})" if reading.why and not sound else ""
    return (
        f"{label} {figure}{'' if sound else _place_words(reading)}; {_bound_words(reading, limit, level)}{why}{doubt}"
    )


def _telling(value: float, limit: Limit, decimals: int) -> int:
    """Decimals that tell a figure from the limit it misses: 299.72 ppi must not be told as 300 where 300 are needed."""
    for more in range(decimals, MOST_DECIMALS):
        if not any(round(abs(value), more) == bound != abs(value) for bound in (limit.note, limit.fault)):
            return more
    return max(decimals, MOST_DECIMALS)


def _margin_words(reading: Reading, limit: Limit, level: Level, figure: str) -> str:
    """A margin that is too small: a work at the edge of the frame is another thing than little lid beside it."""
    at = "at" if reading.side in {"top", "bottom"} else "on"
    side = f"{at} the {reading.side}" if reading.side else "on one side"
    if float(reading.value or 0) < AT_FRAME_MM:
        return f"the work runs to the edge of the frame {side}: a part of it may be cut off"
    asked = limit.fault if level is Level.FAULT or limit.note is None else limit.note
    wanted = f"{asked:g} {reading.unit} or more is {'needed' if level is Level.FAULT else 'better'}"
    return f"only {figure} of lid shows beside the work {side}; {wanted}"


def _bound_words(reading: Reading, limit: Limit, level: Level) -> str:
    """What a fault needs or may not pass; of all else what is better, and from where on it is a fault."""
    unit = _UNITS.get(reading.unit, reading.unit)
    if (reading.check, reading.name) == ("encoding", "depth_true") and level is not Level.SOUND:
        return f"a scan set to 16 bits uses {limit.note or limit.fault:g} or more"
    if level is Level.FAULT or (limit.note is None and limit.fault is not None):
        side = ("above" if limit.strict else "at least") if limit.below else ("below" if limit.strict else "at most")
        return f"{side} {limit.fault:g} {unit}".strip() + (" needed" if limit.below else " allowed")
    note, fault = (f"{bound:g} {unit}".strip() if bound is not None else "" for bound in (limit.note, limit.fault))
    if level is Level.SOUND:
        return f"{note} or more is wanted" if limit.below else f"at most {note} is wanted"
    if limit.below:
        return f"{note} or more is better" + (f", below {fault} is a fault" if fault else "")
    return f"at most {note} is better" + (f", above {fault} is a fault" if fault else "")


def _place_words(reading: Reading) -> str:
    where = reading.where
    if where is None:
        return ""
    if reading.check == "seam" and where.profile:
        worst = max(where.profile, key=lambda sample: abs(sample.px or 0.0))
        return f", {worst.y_mm:.0f} mm from the top"
    if reading.check in {"seam", "travel"}:
        return f", {where.y_mm:.0f} mm from the top"
    if reading.check == "streaks":
        return f", {where.x_mm:.0f} mm from the left"
    if reading.check in {"clipping", "focus"}:
        return f", {where.x_mm:.0f} mm from the left, {where.y_mm:.0f} mm from the top"
    return ""
