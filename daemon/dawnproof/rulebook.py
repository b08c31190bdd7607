"""TOML to a frozen RuleBook: the only reader of rule books. Every value keeps the book it came from."""

from __future__ import annotations

import difflib
import fnmatch
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from .errors import RuleBookError, UsageError
from .model import Bed, Limit

BASE = "fine-art"
Table = dict[str, Any]
_SCHEDULER = re.compile(r"(?:tcp|tls)://(?:[A-Za-z0-9.-]+|\[[0-9A-Fa-f:.]+\]):[0-9]{1,5}")
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
_ADDRESS = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9](?:[A-Za-z0-9.-]{0,250}[A-Za-z0-9])?")
_HOST = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.:-]{0,250}[A-Za-z0-9])?")
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Rules(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Naming(_Rules):
    """How file names are built; see naming.py."""

    pattern: str


class Jobs(_Rules):
    """When a job is complete, said to be unfinished, or given up."""

    wait_min: NotNegative
    unfinished_h: NotNegative
    grid_quiet_min: NotNegative


class Intake(_Rules):
    """When a file in the inbox is taken for whole, and which are left alone."""

    settle_s: NotNegative
    scan_s: Positive
    give_up_min: Positive
    leave: list[str]


class Folders(_Rules):
    """Where the studio's folders are; relative to the studio unless absolute."""

    inbox: str
    archive: str
    rework: str
    proof: str
    morning: str


class BedRules(_Rules):
    """One scanner bed."""

    width_mm: Positive
    length_mm: Positive
    seam_mm: NotNegative | list[NotNegative] | None = None
    seam_tolerance_mm: NotNegative = 5.0
    parallax: Positive | None = None
    lid: Literal["white", "grey", "black", "open"] = "white"
    blend_mm: NotNegative = 0.0


class LimitRules(_Rules):
    """One limit; `allowed` for readings that are text, `px` and `ppi` where a level asks for one or the other."""

    note: float | None = None
    fault: float | None = None
    below: bool = False
    strict: bool = False
    source: str = ""
    allowed: list[str] | None = None
    px: Positive | None = None
    ppi: Positive | None = None
    share: NotNegative | None = None


class Crop(_Rules):
    """The border kept around the work."""

    border_mm: NotNegative


class Join(_Rules):
    """What a join may do; the refusals beyond these are fixed."""

    max_gain_percent: Positive
    max_rotation_deg: Positive
    hours_apart: Positive


class Output(_Rules):
    """What is written beside the scans."""

    assume_profile: str | None = None
    proof_px: Annotated[int, Field(ge=200, le=3000)]
    compression: Literal["none", "deflate"]


class Archive(_Rules):
    """The second copy, the space that is never used up, and whether other studios file into the same folder."""

    second: str | None = None
    reserve_gb: NotNegative
    shared: bool


class Work(_Rules):
    """Children that measure and join, here or on other computers; `paths` leads from folders of this machine to the
    same folders as the others see them."""

    slots: Annotated[int, Field(ge=0, le=64)]
    memory_mb: Annotated[int, Field(ge=256)]
    room_mb: Annotated[int, Field(ge=0)]
    wall_s: Positive
    renew_after: Annotated[int, Field(ge=1)]
    engine: Literal["local", "dask"]
    scheduler: str | None = None
    scheduler_file: str | None = None
    silence_s: Positive
    paths: dict[str, str] = {}


class Morning(_Rules):
    """When the summary is written by itself (local time, 0-23)."""

    hour: Annotated[int, Field(ge=0, le=23)]


class Mail(_Rules):
    """Through which server the summary is sent, to whom, and what is; without `host` nothing is."""

    host: str | None = None
    port: Annotated[int, Field(ge=1, le=65535)] | None = None
    security: Literal["starttls", "tls", "none"]
    user: str | None = None
    password_file: str | None = None
    ca_file: str | None = None
    sender: str | None = Field(default=None, alias="from")
    to: list[str] = []
    when: list[Literal["morning", "alarms"]]
    page_mb: NotNegative


class Fixity(_Rules):
    """How much of the archive is read again each idle night."""

    share_percent: Annotated[float, Field(ge=0, le=100)]


class Kind(_Rules):
    """What applies over the book for the jobs that fit."""

    jobs: str | list[str] | None = None
    medium: str | list[str] | None = None
    based_on: str | None = None
    relief: bool = False
    limits: dict[str, Any] = {}
    crop: dict[str, Any] = {}
    join: dict[str, Any] = {}
    output: dict[str, Any] = {}

    def fits(self, job: str, medium: str) -> bool:
        """Whether the job's number fits one of the patterns, or its medium holds one of the words."""
        return any(fnmatch.fnmatchcase(job.casefold(), p.casefold()) for p in _many(self.jobs)) or any(
            w.casefold() in medium.casefold() for w in _many(self.medium) if medium
        )


class _Book(_Rules):
    based_on: str | None = None
    naming: Naming
    jobs: Jobs
    intake: Intake
    folders: Folders
    beds: dict[str, BedRules]
    kinds: dict[str, Kind] = {}
    limits: dict[str, Any]
    crop: Crop
    join: Join
    output: Output
    archive: Archive
    work: Work
    morning: Morning
    mail: Mail
    fixity: Fixity


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
        merged, origins = _merge(_expanded(self._layers, self.kind))
        for key, value in _flat(merged):
            yield key, value, origins.get(key, "")


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
    return _resolve(str(name_or_path), _chain(str(name_or_path), _shipped(str(name_or_path))), "")


def read_book(text: str, name: str) -> RuleBook:
    """A studio's book from its TOML text; `name` is what errors call it."""
    try:
        own = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise RuleBookError(name, "", f"is not valid TOML ({error})", "mend the line named") from None
    return _resolve(name, _chain(name, own), "")


def _shipped(name: str) -> Table:
    return tomllib.loads(shipped_text(name))


def _chain(name: str, own: Table) -> tuple[tuple[str, Table], ...]:
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
        below = _chain(base, _shipped(base))
    return (*below, (name, own))


def _expanded(layers: tuple[tuple[str, Table], ...], kind: str) -> list[tuple[str, Table]]:
    """The layers with published levels and the kind put in their places."""
    table: Table = {}
    for _, layer in layers:
        table = table | {"kinds": table.get("kinds", {}) | layer.get("kinds", {})}
    rules = table["kinds"].get(kind, {}) if kind else {}
    relief = bool(rules.get("relief", False))
    out: list[tuple[str, Table]] = []
    for name, layer in layers:
        out += _with_level(name, layer, relief)
        if name in {"fadgi-3", "fadgi-4"} and relief:
            out.append((f"{name} (paintings)", _shipped(f"{name}-paintings")))
    if kind:
        if rules.get("based_on"):
            based_on = str(rules["based_on"])
            if based_on not in shipped_books():
                raise RuleBookError(layers[-1][0], f"kinds.{kind}.based_on", f"there is no shipped book {based_on!r}",
                                    f"use one of {', '.join(shipped_books())}")  # fmt: skip
            out.append((based_on, {k: v for k, v in _shipped(based_on).items() if k != "based_on"}))
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
    found = [(level, {"limits": _shipped(level).get("limits", {})})]
    if relief:
        found.append((f"{level} (paintings)", {"limits": _shipped(f"{level}-paintings").get("limits", {})}))
    own = {**layer, "limits": {k: v for k, v in limits.items() if k != "level"}}
    return [*found, (name, own)]


def _merge(layers: list[tuple[str, Table]]) -> tuple[Table, dict[str, str]]:
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


def _flat(table: Table, path: tuple[str, ...] = ()) -> Iterator[tuple[str, object]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, (*path, key))
        else:
            yield ".".join((*path, key)), value


def _resolve(name: str, layers: tuple[tuple[str, Table], ...], kind: str) -> RuleBook:
    merged, origins = _merge(_expanded(layers, kind))
    try:
        book = _Book.model_validate(merged)
    except ValidationError as error:
        raise _named(name, error, origins, merged) from None
    if not book.beds:
        raise RuleBookError(name, "beds", "no bed is named", "add a [beds.NAME] table with width_mm and length_mm")
    _check_kinds(name, book)
    _check_work(origins, name, book.work)
    _check_mail(origins, name, book.mail)
    return RuleBook(
        name=name, naming=book.naming, jobs=book.jobs, intake=book.intake, folders=book.folders,
        beds=tuple(_bed(name, key, rules) for key, rules in book.beds.items()), kinds=book.kinds,
        limits=_limits(name, book.limits, origins), crop=book.crop, join=book.join, output=book.output,
        archive=book.archive, work=book.work, morning=book.morning, mail=book.mail, fixity=book.fixity,
        kind=kind, relief=bool(kind and book.kinds[kind].relief), origins=origins, _layers=layers,
    )  # fmt: skip


def _check_kinds(name: str, book: _Book) -> None:
    for key, kind in book.kinds.items():
        if not _many(kind.jobs) and not _many(kind.medium):
            raise RuleBookError(name, f"kinds.{key}", "fits no job", 'give it jobs = "SL-C*" or medium = "canvas"')
        if kind.limits:
            own = {k: v for k, v in kind.limits.items() if k != "level"}
            _limits(name, own, {})


def _check_mail(origins: Mapping[str, str], name: str, mail: Mail) -> None:
    """What cannot be sent by, or should not, is said when the book is read and not in the morning."""

    def wrong(key: str, what: str, mend: str) -> RuleBookError:
        return RuleBookError(origins.get(f"mail.{key}", name), f"mail.{key}", what, mend)

    for key, addresses in (("from", [mail.sender] if mail.sender is not None else []), ("to", mail.to)):
        for address in addresses:
            if not _ADDRESS.fullmatch(address):
                raise wrong(key, f"{address!r} is no address", 'write it plainly: "prints@example.org"')
    if mail.host is None:
        return
    if not _HOST.fullmatch(mail.host):
        raise wrong("host", f"{mail.host!r} is no name of a server", 'write its name alone: "smtp.example.org"')
    if mail.sender is None or not mail.to:
        raise wrong("from" if mail.sender is None else "to", "is missing", 'add from = "…" and to = ["…"]')
    if mail.user is not None and mail.security == "none":
        raise wrong("security", "the password would travel in the clear", 'use "starttls" or "tls", or no user')


def _check_work(origins: Mapping[str, str], name: str, work: Work) -> None:
    """Where other computers are found, and how they see the store, said when the book is read."""

    def wrong(key: str, what: str, mend: str) -> RuleBookError:
        return RuleBookError(origins.get(f"work.{key}", name), f"work.{key}", what, mend)

    if work.scheduler is not None and not _SCHEDULER.fullmatch(work.scheduler):
        raise wrong("scheduler", f"{work.scheduler!r} is no scheduler's address", 'write it like "tcp://desk:8786"')
    if work.scheduler is not None and work.scheduler_file is not None:
        raise wrong("scheduler_file", "stands beside scheduler", "keep one of the two")
    if work.engine == "dask" and work.scheduler is None and work.scheduler_file is None:
        raise wrong("scheduler", "is missing", 'engine = "dask" needs scheduler = "tcp://…" or scheduler_file = "…"')
    for here, there in work.paths.items():
        for path in (here, there):
            if not path.startswith("/") or "/../" in f"{path}/":
                raise wrong("paths", f"{path!r} is no folder from the root on",
                            'write "/srv/prints" = "/mnt/prints", this machine\'s folder first')  # fmt: skip


def _bed(book: str, name: str, rules: BedRules) -> Bed:
    seams = rules.seam_mm if isinstance(rules.seam_mm, list) else [] if rules.seam_mm is None else [rules.seam_mm]
    for seam in seams:
        if not 0 < seam < rules.width_mm:
            raise RuleBookError(book, f"beds.{name}.seam_mm", f"{seam:g} mm lies outside the bed of "
                                f"{rules.width_mm:g} mm",
                                "measure from the left edge of a full-width scan, or leave it out where there is "
                                "no stitch")  # fmt: skip
    return Bed(name, rules.width_mm, rules.length_mm, tuple(sorted(seams)), rules.seam_tolerance_mm, rules.parallax,
               rules.lid, rules.blend_mm)  # fmt: skip


def _limits(book: str, table: Table, origins: Mapping[str, str]) -> dict[tuple[str, str], LimitRules]:
    known = _shipped(BASE)["limits"]
    found: dict[tuple[str, str], LimitRules] = {}
    for check, readings in table.items():
        if check not in known:
            raise _unknown(origins.get(f"limits.{check}", book), f"limits.{check}", check, list(known))
        if not isinstance(readings, dict):
            raise RuleBookError(
                book, f"limits.{check}", "must be a table", f"write [limits.{check}] with one line a reading"
            )
        for reading, rules in readings.items():
            key = f"limits.{check}.{reading}"
            where = origins.get(key, book)
            if reading not in known[check]:
                raise _unknown(where, key, reading, list(known[check]))
            try:
                found[check, reading] = _sensible(where, key, LimitRules.model_validate(rules))
            except ValidationError as error:
                first = error.errors()[0]
                full = ".".join([key, *(str(p) for p in first["loc"])])
                if first["type"] == "extra_forbidden":
                    raise _unknown(where, full, str(first["loc"][-1]), list(LimitRules.model_fields)) from None
                raise RuleBookError(where, full, first["msg"].lower(), "write { note = 1.0, fault = 2.0 }") from None
    return found


def _sensible(book: str, key: str, limit: LimitRules) -> LimitRules:
    # an abrupt spectral edge and a gradual one are told apart by figures of their own, so their order is free
    separate = key.startswith("limits.resolution.detail_")
    if not separate and limit.note is not None and limit.fault is not None and (
        limit.note < limit.fault if limit.below else limit.note > limit.fault
    ):  # fmt: skip
        side = "above" if limit.below else "below"
        raise RuleBookError(book, key, f"the note ({limit.note:g}) must lie {side} the fault ({limit.fault:g})",
                            "a reading becomes a note before it becomes a fault")  # fmt: skip
    return limit


def _named(name: str, error: ValidationError, origins: Mapping[str, str], merged: Table) -> RuleBookError:
    first = error.errors()[0]
    loc = [str(p) for p in first["loc"]]
    if loc and loc[0] == "beds" and len(loc) > 3:  # the union's own branch names
        loc = loc[:3]
    key = ".".join(loc)
    book = origins.get(key, name)
    if first["type"] == "extra_forbidden":
        return _unknown(book, key, loc[-1], _known_at(loc[:-1]))
    if first["type"] == "missing":
        return RuleBookError(name, key, "is missing", "add it")
    return RuleBookError(book, key, f"{first['msg'].lower()}, not {first['input']!r}", "mend the value")


def _known_at(path: list[str]) -> list[str]:
    model: Any = _Book
    for step in path:
        if step in getattr(model, "model_fields", {}):
            model = model.model_fields[step].annotation
            if model == dict[str, BedRules]:
                model = BedRules
            elif model == dict[str, Kind]:
                model = Kind
    return [field.alias or name for name, field in getattr(model, "model_fields", {}).items()]


def _unknown(book: str, key: str, word: str, known: list[str]) -> RuleBookError:
    near = difflib.get_close_matches(word, known, 1, 0.5)
    return RuleBookError(
        book, key, "is not a key the rule book knows",
        f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(known)}",
    )  # fmt: skip


def _many(value: str | list[str] | None) -> list[str]:
    return [value] if isinstance(value, str) else list(value or ())
