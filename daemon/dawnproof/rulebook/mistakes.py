"""What is wrong with a key, by book and key, with the word that was probably meant."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from ..errors import RuleBookError
from .tables import BedRules, Book, Kind

_ONE_OR_LIST = {("beds", "seam_mm"), ("kinds", "jobs"), ("kinds", "medium")}


def named(name: str, error: ValidationError, origins: Mapping[str, str]) -> RuleBookError:
    """What a table refused first, by the book that holds the value and its dotted key."""
    first = _most_telling(error)
    at = first["loc"][-1]
    loc = [str(p) for p in first["loc"] if not isinstance(p, int)]  # the key is that of the list
    if len(loc) > 3 and (loc[0], loc[2]) in _ONE_OR_LIST:  # the union's own branch names
        loc = loc[:3]
    key = ".".join(loc)
    book = origins.get(key, name)
    if first["type"] == "extra_forbidden":
        return unknown(book, key, loc[-1], _known_at(loc[:-1]))
    if first["type"] == "missing":
        return RuleBookError(name, key, "is missing", "add it")
    what = "input" if not isinstance(at, int) else f"value {at + 1} of the list"
    mend = "write one number, or a list: [200.0, 400.0]" if loc[-1] == "seam_mm" else "mend the value"
    return RuleBookError(book, key, f"{first['msg'].lower().replace('input', what, 1)}, not {first['input']!r}", mend)


def _most_telling(error: ValidationError) -> ErrorDetails:
    """Of what a table refused, the first; of a list where one value would do as well, what is wrong in the list."""
    first, *others = error.errors()
    if isinstance(first["input"], list):
        return next((e for e in others if e["loc"][:3] == first["loc"][:3] and isinstance(e["loc"][-1], int)), first)
    return first


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
