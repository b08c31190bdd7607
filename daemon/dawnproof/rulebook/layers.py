"""A book over the books it is based on: which lies over which, and from which of them each value comes."""

from __future__ import annotations

import difflib
from collections.abc import Iterator

from ..errors import RuleBookError
from .shipped import BASE, Table, shipped_books, shipped_table


def chain(name: str, own: Table) -> tuple[tuple[str, Table], ...]:
    """Layers from the base to `own`; a level stands between what the book is based on and its own values."""
    based_on = own.get("based_on")
    if based_on is not None and based_on not in shipped_books():
        near = difflib.get_close_matches(str(based_on), shipped_books(), 1)
        raise RuleBookError(
            name, "based_on", f"there is no shipped book {based_on!r}",
            f"did you mean {near[0]!r}?" if near else f"use one of {', '.join(shipped_books())}",
        )  # fmt: skip
    below: tuple[tuple[str, Table], ...] = ()
    if name != BASE:
        base = str(based_on or BASE)
        below = chain(base, shipped_table(base))
    return (*below, (name, own))


def expanded(layers: tuple[tuple[str, Table], ...], kind: str) -> list[tuple[str, Table]]:
    """The layers with published levels and the kind put in their places."""
    table: Table = {}
    for _, layer in layers:
        kinds = layer.get("kinds", {})  # what is no table is told where the book is read
        table = table | {"kinds": table.get("kinds", {}) | (kinds if isinstance(kinds, dict) else {})}
    rules = table["kinds"].get(kind, {}) if kind else {}
    relief = bool(rules.get("relief", False))
    out: list[tuple[str, Table]] = []
    for name, layer in layers:
        out += _with_level(name, layer, relief)
        if name in {"fadgi-3", "fadgi-4"} and relief:
            out.append((f"{name} (paintings)", shipped_table(f"{name}-paintings")))
    if kind:
        if rules.get("based_on"):
            based_on = str(rules["based_on"])
            if based_on not in shipped_books():
                raise RuleBookError(layers[-1][0], f"kinds.{kind}.based_on", f"there is no shipped book {based_on!r}",
                                    f"use one of {', '.join(shipped_books())}")  # fmt: skip
            out.append((based_on, {k: v for k, v in shipped_table(based_on).items() if k != "based_on"}))
        own = {k: rules[k] for k in ("limits", "crop", "join", "output") if k in rules}
        out += _with_level(f"{layers[-1][0]} (kind {kind})", own, relief)
    return out


def _with_level(name: str, layer: Table, relief: bool) -> list[tuple[str, Table]]:
    limits = layer.get("limits", {})
    level = limits.get("level") if isinstance(limits, dict) else None
    if level is None:
        return [(name, layer)]
    levels = [b for b in shipped_books() if b.startswith("fadgi-") and not b.endswith("-paintings")]
    if level not in levels:
        raise RuleBookError(
            name, "limits.level", f"there is no published level {level!r}", f"use one of {', '.join(levels)}"
        )
    found = [(level, {"limits": shipped_table(level).get("limits", {})})]
    if relief:
        found.append((f"{level} (paintings)", {"limits": shipped_table(f"{level}-paintings").get("limits", {})}))
    own = {**layer, "limits": {k: v for k, v in limits.items() if k != "level"}}
    return [*found, (name, own)]


def merge(layers: list[tuple[str, Table]]) -> tuple[Table, dict[str, str]]:
    """Later wins, key by key; naming any bed replaces the beds of earlier books."""
    merged: Table = {}
    origins: dict[str, str] = {}
    for name, layer in layers:
        if "beds" in layer:
            merged.pop("beds", None)
            origins = {k: v for k, v in origins.items() if not k.startswith("beds.")}
        _lay_over(merged, layer, name, (), origins)
    return merged, origins


def _lay_over(merged: Table, layer: Table, name: str, path: tuple[str, ...], origins: dict[str, str]) -> None:
    for key, value in layer.items():
        here = (*path, key)
        if isinstance(value, dict):
            below = merged.get(key)
            if not isinstance(below, dict):
                below = merged[key] = {}
            if path[:1] == ("limits",) and "source" not in value and ({"note", "fault", "allowed"} & value.keys()):
                below["source"] = f"set in {name}"
            _lay_over(below, value, name, here, origins)
        else:
            merged[key] = value
        origins[".".join(here)] = name


def flat(table: Table, path: tuple[str, ...] = ()) -> Iterator[tuple[str, object]]:
    """Each value with its dotted key, in the order of the book."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from flat(value, (*path, key))
        else:
            yield ".".join((*path, key)), value
