"""Where a key stands in the text of a rule book."""

from __future__ import annotations

import tomllib
from typing import Any


def line_of(text: str, key: str) -> int:
    """The line, from 1, at which the value of a dotted key begins; where the book has no such key, that of the table it
    would stand in; 0 where it has neither. `text` is valid TOML."""
    path = _held(tomllib.loads(text), key)
    if not path:
        return 0
    lines = text.splitlines()
    begun = 0  # lines that were read without the key
    for read in range(1, len(lines) + 1):
        try:
            table = tomllib.loads("\n".join(lines[:read]))
        except tomllib.TOMLDecodeError:  # in the middle of a value of several lines
            continue
        if _held(table, ".".join(path)) == path:
            passed = (at for at in range(begun, read) if lines[at].strip() and not lines[at].lstrip().startswith("#"))
            return next(passed, begun) + 1
        begun = read
    return 0


def _held(table: dict[str, Any], key: str) -> list[str]:
    """As much of a dotted key as there is; names may hold dots themselves."""
    for name in sorted(table, key=len, reverse=True):
        if key == name:
            return [name]
        if key.startswith(f"{name}."):
            inner, rest = table[name], key[len(name) + 1 :]
            return [name, *(_held(inner, rest) if isinstance(inner, dict) else [])]
    return []
