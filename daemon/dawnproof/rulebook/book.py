"""A studio's rule book as the daemon works by it. Every value keeps the book it came from."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from ..errors import RuleBookError, UsageError
from ..model import Bed, Limit
from .layers import chain, expanded, flat, merge
from .lines import line_of
from .mistakes import named
from .sense import bed_of, check_kinds, check_mail, check_work, limits_of
from .shipped import Table, shipped_table
from .tables import (
    Archive,
    Book,
    Crop,
    Fixity,
    Folders,
    Intake,
    Jobs,
    Join,
    Kind,
    LimitRules,
    Mail,
    Morning,
    Naming,
    Output,
    Work,
)


@dataclass(frozen=True)
class RuleBook:
    """A studio's rules, resolved. `limits` by (check, name); `origins` names the book of each dotted key."""

    name: str
    naming: Naming
    jobs: Jobs
    intake: Intake
    folders: Folders
    beds: tuple[Bed, ...]
    kinds: Mapping[str, Kind]
    limits: Mapping[tuple[str, str], LimitRules]
    crop: Crop
    join: Join
    output: Output
    archive: Archive
    work: Work
    morning: Morning
    mail: Mail
    fixity: Fixity
    kind: str
    relief: bool
    origins: Mapping[str, str]
    _layers: tuple[tuple[str, Table], ...] = ()

    def limit(self, check: str, name: str) -> Limit | None:
        """The limit of a reading, or None where the book has none."""
        rules = self.limits.get((check, name))
        if rules is None or (rules.note is None and rules.fault is None):
            return None
        return Limit(rules.note, rules.fault, rules.below, rules.strict, rules.source)

    def bed(self, name: str | None) -> Bed:
        """The bed of that name; the first bed when none is named. UsageError when the book has no such bed."""
        if name is None:
            return self.beds[0]
        for bed in self.beds:
            if bed.name.casefold() == name.casefold():
                return bed
        known = ", ".join(b.name for b in self.beds)
        raise UsageError(
            f"{self.name} has no bed named {name!r}; its beds: {known}. Add [beds.{name}] to the rule book"
        )

    def for_job(self, job: str, medium: str = "") -> RuleBook:
        """The book as it holds for this job: the first kind that fits applied over it."""
        for name, kind in self.kinds.items():
            if kind.fits(job, medium):
                return self.for_kind(name)
        return self

    def for_kind(self, name: str) -> RuleBook:
        """The book with the kind of that name applied. UsageError when there is none."""
        if name == self.kind:
            return self
        if name not in self.kinds:
            known = ", ".join(self.kinds) or "none"
            raise UsageError(f"{self.name} has no kind named {name!r}; its kinds: {known}")
        return _resolve(self.name, self._layers, name)

    def values(self) -> Iterator[tuple[str, object, str]]:
        """Each dotted key with its value and the book it comes from, in the book's order."""
        merged, origins = merge(expanded(self._layers, self.kind))
        for key, value in flat(merged):
            yield key, value, origins.get(key, "")


def load_book(name_or_path: str | Path) -> RuleBook:
    """A shipped book by name, or a book in a file (a path ending in .toml, or an existing file)."""
    path = Path(name_or_path)
    if path.suffix == ".toml" or path.is_file():
        try:
            text = path.read_text("utf-8")
        except FileNotFoundError:
            raise UsageError(
                f"no rule book at {path}; make a studio with `dawnproof new`, or name a shipped book"
            ) from None
        except (OSError, UnicodeDecodeError) as error:
            raise RuleBookError(str(path), "", f"cannot be read ({error})", "save it as UTF-8 text") from None
        return read_book(text, path.name if path.name != "dawnproof.toml" else str(path))
    return _resolve(str(name_or_path), chain(str(name_or_path), shipped_table(str(name_or_path))), "")


def read_book(text: str, name: str) -> RuleBook:
    """A studio's book from its TOML text; `name` is what errors call it."""
    try:
        own = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise RuleBookError(name, "", f"is not valid TOML ({error})", "mend the line named") from None
    try:
        return _resolve(name, chain(name, own), "")
    except RuleBookError as error:
        raise (error.at_line(line_of(text, error.key)) if error.book == name else error) from None


def _resolve(name: str, layers: tuple[tuple[str, Table], ...], kind: str) -> RuleBook:
    merged, origins = merge(expanded(layers, kind))
    try:
        book = Book.model_validate(merged)
    except ValidationError as error:
        raise named(name, error, origins) from None
    if not book.beds:
        raise RuleBookError(name, "beds", "no bed is named", "add a [beds.NAME] table with width_mm and length_mm")
    check_kinds(name, book)
    check_work(origins, name, book.work)
    check_mail(origins, name, book.mail)
    return RuleBook(
        name=name, naming=book.naming, jobs=book.jobs, intake=book.intake, folders=book.folders,
        beds=tuple(bed_of(name, key, rules) for key, rules in book.beds.items()), kinds=book.kinds,
        limits=limits_of(name, book.limits, origins), crop=book.crop, join=book.join, output=book.output,
        archive=book.archive, work=book.work, morning=book.morning, mail=book.mail, fixity=book.fixity,
        kind=kind, relief=bool(kind and book.kinds[kind].relief), origins=origins, _layers=layers,
    )  # fmt: skip
