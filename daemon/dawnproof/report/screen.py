"""Lines of an exact width and sections that share a given height, for a terminal. Meaning is in words and shapes;
bold and reverse only stress, so that any background and a terminal without colour do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from rich.text import Text

STRONG, ALARM = "bold", "bold reverse"
GUTTER = 10


@dataclass(frozen=True, slots=True)
class Section:
    """A titled block of lines. `least` lines are kept as long as the height allows any."""

    title: str
    lines: tuple[Text, ...]
    least: int = 1


def line(*pieces: str | tuple[str, str]) -> Text:
    """A line of plain pieces and (piece, style) pairs; markup in them means nothing."""
    text = Text(no_wrap=True, end="")
    for piece in pieces:
        text.append(piece) if isinstance(piece, str) else text.append(*piece)
    return text


def fitted(text: Text, width: int) -> Text:
    """Exactly `width` columns: cut with an ellipsis or filled."""
    held = text.copy()
    held.truncate(width, overflow="ellipsis", pad=True)
    held.no_wrap, held.end = True, ""
    return held


def wrapped(words: str, width: int, most: int) -> list[str]:
    """Words in lines of at most `width` columns, `most` of them; the last ends in an ellipsis where more is left."""
    lines = [""]
    for word in words.split():
        trial = f"{lines[-1]} {word}".strip()
        if cell_len(trial) > width and lines[-1]:
            lines.append(word)
        else:
            lines[-1] = trial
    if len(lines) > most:
        lines = [*lines[: most - 1], f"{lines[most - 1]} …"]
    return lines


def stacked(sections: Sequence[Section], width: int, height: int, spaced: bool = False) -> list[Text]:
    """The sections as exactly `height` lines of `width` columns, each title in a gutter at the left. Sections told
    first get their least lines first, then what is left over is shared in the same order."""
    present = [section for section in sections if section.lines]
    gaps = len(present) - 1 if spaced else 0
    given = _shares(present, height - gaps)
    out: list[Text] = []
    for section, count in zip(present, given, strict=True):
        if not count:
            continue
        if spaced and out:
            out.append(line())
        for number, text in enumerate(_cut(section.lines, count)):
            title = section.title if number == 0 else ""
            row = line((f" {title:<{GUTTER - 1}}", STRONG))
            row.append_text(text)
            out.append(row)
    out += [line()] * (height - len(out))
    return [fitted(text, width) for text in out[:height]]


def beside(left: Sequence[Text], right: Sequence[Text]) -> list[Text]:
    """Two columns with a rule between them."""
    rows = []
    for one, other in zip(left, right, strict=True):
        row = one.copy()
        row.append("│")
        row.append_text(other)
        rows.append(row)
    return rows


def whole(rows: Sequence[Text]) -> Text:
    """The rows as one renderable."""
    screen = Text("\n").join(rows)
    screen.no_wrap, screen.overflow = True, "crop"
    return screen


def _shares(sections: Sequence[Section], height: int) -> list[int]:
    left = max(height, 0)
    given = []
    for section in sections:
        given.append(min(section.least, len(section.lines), left))
        left -= given[-1]
    for index, section in enumerate(sections):
        more = min(len(section.lines) - given[index], left)
        given[index] += more
        left -= more
    return given


def _cut(lines: Sequence[Text], count: int) -> list[Text]:
    if len(lines) <= count:
        return list(lines)
    rest = len(lines) - count
    if count < 2:
        only = lines[0].copy()
        only.append(f"  … {rest} more")
        return [only]
    return [*lines[: count - 1], line(f"… {rest + 1} more")]
