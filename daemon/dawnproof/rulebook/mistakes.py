"""What is wrong with a key, by book and key, with the word that was probably meant."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from ..errors import RuleBookError
from .tables import BedRules, Book, Kind


def named(name: str, error: ValidationError, origins: Mapping[str, str]) -> RuleBookError:
    """What a table refused first, by the book that holds the value and its dotted key."""
    first = error.errors()[0]
    loc = [str(p) for p in first["loc"]]
    if loc and loc[0] == "beds" and len(loc) > 3:  # the union's own branch names
        loc = loc[:3]
    key = ".".join(loc)
    book = origins.get(key, name)
    if first["type"] == "extra_forbidden":
        return unknown(book, key, loc[-1], _known_at(loc[:-1]))
    if first["type"] == "missing":
        return RuleBookError(name, key, "is missing", "add it")
    return RuleBookError(book, key, f"{first['msg'].lower()}, not {first['input']!r}", "mend the value")


def _known_at(path: list[str]) -> list[str]:
    model: Any = Book
    for step in path:
        if step in getattr(model, "model_fields", {}):
            model = model.model_fields[step].annotation
            if model == dict[str, BedRules]:
                model = BedRules
            elif model == dict[str, Kind]:
                model = Kind
    return [field.alias or name for name, field in getattr(model, "model_fields", {}).items()]


def unknown(book: str, key: str, word: str, known: list[str]) -> RuleBookError:
    """A key nobody reads, with the one that was probably meant."""
    near = difflib.get_close_matches(word, known, 1, 0.5)
    return RuleBookError(
        book, key, "is not a key the rule book knows",
        f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}",
    )  # fmt: skip
