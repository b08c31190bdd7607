"""What the tables' own types cannot say: values that make no sense beside one another."""

from __future__ import annotations

import re
from collections.abc import Mapping

from pydantic import ValidationError

from ..errors import RuleBookError
from ..model import Bed
from .mistakes import unknown
from .shipped import BASE, Table, shipped_table
from .tables import BedRules, Book, LimitRules, Mail, Work, many

_SCHEDULER = re.compile(r"(?:tcp|tls)://(?:[A-Za-z0-9.-]+|\[[0-9A-Fa-f:.]+\]):[0-9]{1,5}")
_ADDRESS = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9](?:[A-Za-z0-9.-]{0,250}[A-Za-z0-9])?")
_HOST = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.:-]{0,250}[A-Za-z0-9])?")


def check_kinds(name: str, book: Book) -> None:
    """Every kind fits some job, and its limits are limits."""
    for key, kind in book.kinds.items():
        if not many(kind.jobs) and not many(kind.medium):
            raise RuleBookError(name, f"kinds.{key}", "fits no job", 'give it jobs = "SL-C*" or medium = "canvas"')
        if kind.limits:
            own = {k: v for k, v in kind.limits.items() if k != "level"}
            try:
                limits_of(name, own, {})
            except RuleBookError as wrong:  # of the kind, not of the book's own limits
                raise RuleBookError(wrong.book, f"kinds.{key}.{wrong.key}", wrong.problem, wrong.mend) from None


def check_mail(origins: Mapping[str, str], name: str, mail: Mail) -> None:
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


def check_work(origins: Mapping[str, str], name: str, work: Work) -> None:
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


def bed_of(book: str, name: str, rules: BedRules) -> Bed:
    """The bed with its stitches from left to right, each of them on it."""
    seams = rules.seam_mm if isinstance(rules.seam_mm, list) else [] if rules.seam_mm is None else [rules.seam_mm]
    for seam in seams:
        if not 0 < seam < rules.width_mm:
            raise RuleBookError(book, f"beds.{name}.seam_mm", f"{seam:g} mm lies outside the bed of "
                                f"{rules.width_mm:g} mm",
                                "measure from the left edge of a full-width scan, or leave it out where there is "
                                "no stitch")  # fmt: skip
    return Bed(name, rules.width_mm, rules.length_mm, tuple(sorted(seams)), rules.seam_tolerance_mm, rules.parallax,
               rules.lid, rules.blend_mm)  # fmt: skip


def limits_of(book: str, table: Table, origins: Mapping[str, str]) -> dict[tuple[str, str], LimitRules]:
    """The limits by (check, name): only of readings that are taken, and a note before a fault."""
    known = shipped_table(BASE)["limits"]
    found: dict[tuple[str, str], LimitRules] = {}
    for check, readings in table.items():
        if check not in known:
            raise unknown(origins.get(f"limits.{check}", book), f"limits.{check}", check, list(known))
        if not isinstance(readings, dict):
            raise RuleBookError(
                book, f"limits.{check}", "must be a table", f"write [limits.{check}] with one line a reading"
            )
        for reading, rules in readings.items():
            key = f"limits.{check}.{reading}"
            where = origins.get(key, book)
            if reading not in known[check]:
                raise unknown(where, key, reading, list(known[check]))
            try:
                found[check, reading] = _sensible(where, key, LimitRules.model_validate(rules))
            except ValidationError as error:
                first = error.errors()[0]
                full = ".".join([key, *(str(p) for p in first["loc"])])
                if first["type"] == "extra_forbidden":
                    raise unknown(where, full, str(first["loc"][-1]), list(LimitRules.model_fields)) from None
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
