"""Where a key stands in the text of a rule book."""

from __future__ import annotations

import tomllib
from contextlib import suppress
from typing import Any


def line_of(text: str, key: str) -> int:
    """The line, from 1, at which the value of a dotted key begins; where the book has no such key, that of the table it
    would stand in; 0 where it has neither. `text` is valid TOML."""
    path = _held(tomllib.loads(text), key)
    if not path:
        return 0
    lines = text.replace("\r\n", "\n").split("\n")  # not at what else may end a line: TOML knows no other ends
    without, read, looked_up_to = 0, len(lines), len(lines)  # lines that were read without the key and with it
    while looked_up_to - without > 1:
        middle = (without + looked_up_to) // 2
        at, table = _next_whole(lines, middle, looked_up_to)
        if table is not None and _held(table, ".".join(path)) != path:
            without = at
        else:
            read, looked_up_to = (at if table is not None else read), middle
    passed = (at for at in range(without, read) if lines[at].strip() and not lines[at].lstrip().startswith("#"))
    return next(passed, without) + 1


def _next_whole(lines: list[str], first: int, past: int) -> tuple[int, dict[str, Any] | None]:
    """How many lines, from `first` on, are TOML by themselves, and what they say; None where none before `past` are:
    all end in the middle of a value of several lines."""
    for count in range(first, past):
        with suppress(tomllib.TOMLDecodeError):
            return count, tomllib.loads("\n".join(lines[:count]))
    return past, None


def _held(table: dict[str, Any], key: str) -> list[str]:
    """As much of a dotted key as there is; names may hold dots themselves."""
    for name in sorted(table, key=len, reverse=True):
        if key == name:
            return [name]
        if key.startswith(f"{name}."):
            inner, rest = table[name], key[len(name) + 1 :]
            return [name, *(_held(inner, rest) if isinstance(inner, dict) else [])]
    return []
