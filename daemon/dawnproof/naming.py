"""A file name and the naming rule give a part, or say why not and what was probably meant."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from .errors import RuleBookError
from .model import PartName, Role, Sides, shown

SEPARATOR = r"[ _\-]+"
PART = r"whole|l|r|t|b|left|right|top|bottom|r\d{1,2}c\d{1,2}|\d{1,2}\s?of\s?\d{1,2}|" + "|".join(
    r.value for r in Role if r is not Role.WORK
)
FIELDS = {
    "job": rf"(?P<job>[^\W_]+(?:{SEPARATOR}[^\W_]+)*?)",
    "part": rf"(?P<part>{PART})",
    "take": r"(?P<take>\d{1,3})",
    "light": r"(?P<light>[^\W_\d][^\W_]*)",
    "bed": r"(?P<bed>[^\W_]+(?:-[^\W_]+)*)",
}
COUNTER = r"(?:\s?\(\d{1,3}\)|[ _\-]\d{1,3})?"  # added by a computer to a second copy
WORDS = {"left": "L", "right": "R", "top": "T", "bottom": "B", "l": "L", "r": "R", "t": "T", "b": "B"}
SCAN_ENDINGS = (".tif", ".tiff", ".btf", ".tf8")


@dataclass(frozen=True, slots=True)
class NotNamed:
    """A name no rule understands: why, and the name that was probably meant ('' where none is near)."""

    why: str
    proposal: str = ""


@dataclass(frozen=True, slots=True)
class NamingRule:
    """The naming pattern of a rule book, compiled once."""

    pattern: str
    expression: re.Pattern[str]


def compile_rule(pattern: str, book: str = "rule book") -> NamingRule:
    """Compile a pattern such as `{job}_{part}[_t{take}]`; RuleBookError where it cannot be."""
    out, depth, seen = "", 0, set[str]()
    for token in re.findall(r"\{\w*\}|\[|\]|[ _\-]+|.", pattern):
        if token == "[":
            out, depth = out + "(?:", depth + 1
        elif token == "]":
            out, depth = out + ")?", depth - 1
        elif token[0] == "{":
            field = token[1:-1]
            if field not in FIELDS or field in seen:
                problem = "is used twice" if field in seen else "is not a field"
                raise RuleBookError(
                    book, "naming.pattern", f"{token} {problem}", f"fields: {', '.join(FIELDS)}, each once"
                )
            seen.add(field)
            out += FIELDS[field]
        else:
            out += SEPARATOR if re.fullmatch(SEPARATOR, token) else re.escape(token)
        if depth < 0:
            break
    if depth or "job" not in seen:
        raise RuleBookError(book, "naming.pattern", "brackets do not close" if depth else "has no {job}",
                            "write for example {job}_{part}[_t{take}]")  # fmt: skip
    return NamingRule(pattern, re.compile(rf"{out}{COUNTER}", re.IGNORECASE))


def read_name(
    file_name: str, rule: NamingRule, known_jobs: Iterable[str] | Mapping[str, str] = ()
) -> PartName | NotNamed:
    """What a base name says, by the rule. A job number known under another spelling keeps the known one; `known_jobs`
    as numbers, or by their keys where they are many."""
    stem, ending = _split(file_name)
    known = known_jobs if isinstance(known_jobs, Mapping) else {job_key(job): job for job in known_jobs}
    if ending not in SCAN_ENDINGS:
        return NotNamed(f"{shown(file_name)!s} does not end in .tif or .tiff")
    match = rule.expression.fullmatch(unicodedata.normalize("NFC", stem).strip())
    if match is None:
        return _near(stem, ending, rule, known)
    found = match.groupdict()
    part, role = _part(found.get("part") or "whole")
    job = known.get(job_key(found["job"]), job_spelling(found["job"]))
    take = int(found["take"]) if found.get("take") else 1
    return PartName(job, part, role, max(take, 1), (found.get("light") or "").lower(), (found.get("bed") or "").lower(),
                    bool(found.get("take")))  # fmt: skip


def spelled(pattern: str, job: str, part: str, take: int = 1, light: str = "", bed: str = "") -> str:
    """The file name that the pattern gives a scan: what stands in brackets only where it is known, a first take
    without its number; a field that the pattern wants and
    nobody knows stays in braces."""
    known = {"job": job, "part": part, "take": str(take) if take > 1 else "", "light": light, "bed": bed}

    def filled(text: str) -> str:
        return re.sub(r"\{(\w+)\}", lambda field: known.get(field[1]) or field[0], text)

    def optional(group: re.Match[str]) -> str:
        fields = re.findall(r"\{(\w+)\}", group[1])
        return filled(group[1]) if all(known.get(field) for field in fields) else ""

    text = pattern
    while (shorter := re.sub(r"\[([^\[\]]*)\]", optional, text)) != text:
        text = shorter
    return f"{filled(text)}.tif"


def job_key(job: str) -> str:
    """Two spellings of one job number have one key: case and kind of separator do not count."""
    return re.sub(SEPARATOR, "-", unicodedata.normalize("NFC", job)).casefold().strip("-")


def job_spelling(job: str) -> str:
    """The house spelling of a job number: capitals, hyphens."""
    return re.sub(SEPARATOR, "-", unicodedata.normalize("NFC", job)).upper().strip("-")


def outer_sides(part: str, grid: tuple[int, int] | None = None) -> Sides:
    """Which sides of a part are outer sides of the work. `grid` is (rows, columns) where it is known; without it the
    right and bottom sides of an rNcM part and all sides of k of n count as inner, since they cannot be told."""
    if part in {"L", "R"}:
        return Sides(left=part == "L", right=part == "R")
    if part in {"T", "B"}:
        return Sides(top=part == "T", bottom=part == "B")
    cell = grid_place(part)
    if cell is not None:
        row, column = cell
        rows, columns = grid or (10**6, 10**6)
        return Sides(left=column == 1, top=row == 1, right=column == columns, bottom=row == rows)
    if count_place(part) is not None:
        return Sides(False, False, False, False)
    return Sides()


def grid_place(part: str) -> tuple[int, int] | None:
    """(row, column) of an rNcM part, from 1."""
    match = re.fullmatch(r"r(\d+)c(\d+)", part)
    return (int(match[1]), int(match[2])) if match else None


def count_place(part: str) -> tuple[int, int] | None:
    """(k, n) of a part named k of n."""
    match = re.fullmatch(r"(\d+)of(\d+)", part)
    return (int(match[1]), int(match[2])) if match else None


def _split(file_name: str) -> tuple[str, str]:
    stem, dot, ending = file_name.rpartition(".")
    return (stem, "." + ending.lower()) if dot else (file_name, "")


def _part(word: str) -> tuple[str, Role]:
    word = re.sub(r"\s", "", word.lower())
    for role in Role:
        if role is not Role.WORK and word == role.value:
            return role.value, role
    grid = re.fullmatch(r"r0*(\d+)c0*(\d+)", word)
    if grid:
        return f"r{grid[1]}c{grid[2]}", Role.WORK
    count = re.fullmatch(r"0*(\d+)of0*(\d+)", word)
    if count:
        return f"{count[1]}of{count[2]}", Role.WORK
    return WORDS.get(word, word), Role.WORK


def _near(stem: str, ending: str, rule: NamingRule, known: Mapping[str, str]) -> NotNamed:
    """A proposal: a known job or something shaped like a job number, then the first part word that is in the name."""
    why = f"the name does not fit {rule.pattern}"
    words = [w for w in re.split(r"[^\w]+|_", stem) if w]
    job = _near_job(words, stem, known)
    if not job:
        return NotNamed(why)
    rest = [w.lower() for w in words if job_key(w) not in job_key(job)]
    part = next((_part(w)[0] for w in rest if re.fullmatch(PART, w.lower())), _loose_part(rest))
    guess = f"{job}_{part or 'whole'}{ending}"
    fits = rule.expression.fullmatch(_split(guess)[0]) is not None
    return NotNamed(why, guess if fits else "")


def _loose_part(words: Sequence[str]) -> str:
    near = difflib.get_close_matches(" ".join(words), ["left", "right", "top", "bottom", "whole"], 1, 0.6)
    for word in words:
        near = near or difflib.get_close_matches(word, ["left", "right", "top", "bottom", "whole"], 1, 0.7)
    return _part(near[0])[0] if near else ""


def _near_job(words: Sequence[str], stem: str, known: Mapping[str, str]) -> str:
    squeezed = {re.sub(r"[^a-z0-9]", "", key): job for key, job in known.items()}
    for length in (3, 2, 1):
        for start in range(len(words) - length + 1):
            run = "".join(words[start : start + length]).lower()
            near = squeezed.get(run) or next(iter(difflib.get_close_matches(run, squeezed, 1, 0.85)), "")
            if near:
                return squeezed.get(near, near)
    shaped = re.search(r"([A-Za-z]{1,4})[ _\-.]*(\d{2,6})", stem)
    return f"{shaped[1].upper()}-{shaped[2]}" if shaped else ""
