"""Plain text for a person: wrapped lines with hanging marks, rules, gaps."""

from __future__ import annotations

import textwrap

WIDTH = 78


class Lines:
    """Collects lines of at most `width` columns; a longer word keeps its line to itself."""

    def __init__(self, width: int = WIDTH) -> None:
        self.width = width
        self._lines: list[str] = []

    def say(self, text: str, mark: str = "", indent: int | None = None) -> None:
        """One paragraph; `mark` begins its first line, `indent` columns (default: the mark's width) the others. An
        empty text says nothing."""
        if text:
            rest = " " * (len(mark) if indent is None else indent)
            self._lines += textwrap.wrap(text, self.width, initial_indent=mark, subsequent_indent=rest,
                                         break_long_words=False, break_on_hyphens=False)  # fmt: skip

    def keep(self, text: str) -> None:
        """One line as it is, however long: a command that is to be copied."""
        if text:
            self._lines.append(text)

    def rule(self, title: str) -> None:
        """A heading over the whole width, with a gap before it."""
        self.gap()
        self._lines.append(f"{title} {'-' * (self.width - len(title) - 1)}")

    def gap(self) -> None:
        """One empty line, never two."""
        if self._lines and self._lines[-1]:
            self._lines.append("")

    @property
    def text(self) -> str:
        return "\n".join(self._lines).rstrip("\n") + "\n"


def sentence(text: str) -> str:
    """The text with an end."""
    return text if not text or text.endswith((".", "!", "?")) else f"{text}."
