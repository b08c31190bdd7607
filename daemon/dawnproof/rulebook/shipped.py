"""The books that come with the program."""

from __future__ import annotations

import difflib
import tomllib
from importlib import resources
from typing import Any

from ..errors import UsageError

BASE = "fine-art"
Table = dict[str, Any]


def shipped_books() -> tuple[str, ...]:
    """Names of the books that come with the program."""
    folder = resources.files("dawnproof") / "rules"
    return tuple(sorted(p.name[:-5] for p in folder.iterdir() if p.name.endswith(".toml")))


def shipped_text(name: str) -> str:
    """The text of a shipped book. UsageError when there is none of that name."""
    if name not in shipped_books():
        near = difflib.get_close_matches(name, shipped_books(), 1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise UsageError(f"no shipped rule book is called {name!r}; {hint}there are: {', '.join(shipped_books())}")
    return (resources.files("dawnproof") / "rules" / f"{name}.toml").read_text("utf-8")


def shipped_table(name: str) -> Table:
    """The values of a shipped book, as it stands alone."""
    return tomllib.loads(shipped_text(name))
