"""`examine` and `join`: single files, no studio."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from . import app

if TYPE_CHECKING:
    from ..model import Finding, Measured
    from ..rulebook import RuleBook

Files = Annotated[list[Path], typer.Argument(help="Scans (TIFF).", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout and nothing else.")]


@app.command()
def examine(
    files: Files,
    book: Annotated[str, typer.Option(help="A shipped rule book, or a path to one.")] = "fine-art",
    bed: Annotated[str | None, typer.Option(help="The bed of the rule book the scans come from.")] = None,
    kind: Annotated[str | None, typer.Option(help="A kind of the rule book to judge by.")] = None,
    as_json: Json = False,
) -> None:
    """Measure and judge scans; nothing is touched.

    Example: dawnproof examine SL-0412_L.tif SL-0412_R.tif --book works-on-paper
    """
    from ..workers.ahead import begun_or_new
    from ..workers.asks import measure, ready_to_measure
    from ..workers.pool import Pool

    _all_there(files)
    ahead = begun_or_new(ready_to_measure)  # its libraries take as long to load as the book
    try:
        from .. import __version__
        from ..model import Outcome
        from ..report.documents import examine_document, scan_document, to_json

        rules = _rules(book, kind, bed)
    except BaseException:
        ahead.end()
        raise
    pool = Pool(rules.work.slots, rules.work.memory_mb, rules.work.wall_s, rules.work.renew_after, ahead)
    entries: list[dict[str, Any]] = []
    rework = cautious = False
    try:
        futures = [pool.submit("measuring", path.name, measure, _ask(path, rules, bed)) for path in files]
        from .. import policy  # noqa: F401 - loaded while the child measures

        for path, future in zip(files, futures, strict=True):
            measured, error = _wait(pool, future, path, as_json)
            if measured is None:
                rework = True
                entries.append(scan_document(str(path), None, error=error, sha256=_digest_or_none(path)))
                _print_error(path, error or "", as_json)
                continue
            findings = _judged(path, measured, rules)
            outcome = _outcome(findings)
            rework |= outcome is Outcome.REWORK
            entries.append(scan_document(str(path), measured, findings, outcome))
            if not as_json:
                cautious |= _print_scan(path, measured, findings, outcome.value)
    finally:
        pool.close(wait=False, reap=True)
    if as_json:
        typer.echo(to_json(examine_document(__version__, rules.name, entries)))
    elif cautious:
        _print_cautions()
    raise typer.Exit(1 if rework else 0)


def _rules(book: str, kind: str | None, bed: str | None) -> RuleBook:
    from ..rulebook import load_book

    rules = load_book(book)
    rules = rules.for_kind(kind) if kind else rules
    rules.bed(bed)
    return rules


@app.command()
def join(
    parts: Annotated[list[Path], typer.Argument(help="Overlapping parts of one work (TIFF).", show_default=False)],
    out: Annotated[Path, typer.Option("--out", help="The joined image; must not exist yet.", show_default=False)],
    book: Annotated[str, typer.Option(help="A shipped rule book, or a path to one.")] = "fine-art",
    bed: Annotated[
        str | None, typer.Option(help="The bed the parts come from: its stitch is kept out of the join.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Register and blend overlapping parts; refuses, with the reason, what does not belong together.

    Example: dawnproof join SL-0412_L.tif SL-0412_R.tif --out SL-0412.tif
    """
    from ..errors import MoveError, UsageError
    from ..report.documents import to_json
    from ..rulebook import load_book
    from ..workers.joining import HandJoin, join_by_hand, unfinished
    from ..workers.pool import Pool

    if len(parts) < 2:
        raise UsageError("a join needs two parts or more; name every part of the work")
    _all_there(parts)
    _free_place(out)
    rules = load_book(book)
    ask = HandJoin(tuple(str(p) for p in parts), str(out), rules, rules.bed(bed), _software())
    pool = Pool(1, rules.work.memory_mb * 2, 24 * 3600.0, 1)
    try:
        future = pool.submit("joining", out.name, join_by_hand, ask)
        document = _with_bar(pool, future, f"joining {len(parts)} parts", as_json)
    except MoveError as error:  # a full disk, a place taken meanwhile: no word on whether the parts belong together
        raise UsageError(str(error)) from error
    finally:
        pool.close(wait=False, reap=True)
        unfinished(out).unlink(missing_ok=True)  # a child that was ended cannot clean up
    if as_json:
        typer.echo(to_json(document))
    elif document["refused"]:
        typer.echo(f"refused: {document['refused']}")
        for finding in document["findings"]:
            if finding["advice"]:
                typer.echo(f"  {_without_cautions(finding['advice'])}")
        _print_cautions()
    else:
        _print_join(document)
    raise typer.Exit(1 if document["refused"] else 0)


def _free_place(out: Path) -> None:
    """Where the joined image goes, before anything is computed: nothing stands there and something can be written."""
    import os

    from ..errors import UsageError
    from ..model import shown

    name, folder = shown(str(out)), shown(str(out.parent))
    if os.path.lexists(out):
        raise UsageError(f"{name} exists already; nothing is ever overwritten, name another file")
    if not out.parent.is_dir():
        raise UsageError(f"the folder {folder} does not exist; make it first")
    if not os.access(out.parent, os.W_OK | os.X_OK):
        raise UsageError(f"nothing can be written into {folder}; change its permissions or name another folder")


def _all_there(files: list[Path]) -> None:
    from ..errors import UsageError
    from ..model import shown

    for path in files:
        if not path.exists():
            raise UsageError(f"no such file: {shown(str(path))}")
        if path.is_dir():
            raise UsageError(f"{shown(str(path))} is a folder; name the scans in it")


def _ask(path: Path, rules: RuleBook, bed: str | None) -> Any:
    from ..model import PartName
    from ..naming import compile_rule, outer_sides, read_name
    from ..workers.asks import Ask

    name = read_name(path.name, compile_rule(rules.naming.pattern, rules.name))
    if isinstance(name, PartName):
        chosen = bed or next((b.name for b in rules.beds if b.name.casefold() == name.bed), None)
        return Ask(str(path), rules.bed(chosen), outer_sides(name.part), name.role, relief=rules.relief,
                   border_mm=rules.crop.border_mm)  # fmt: skip
    return Ask(str(path), rules.bed(bed), relief=rules.relief, border_mm=rules.crop.border_mm)


def _judged(path: Path, measured: Measured, rules: RuleBook) -> tuple[Finding, ...]:
    from ..model import PartName, Role
    from ..naming import compile_rule, read_name
    from ..policy import Context, judge_scan

    name = read_name(path.name, compile_rule(rules.naming.pattern, rules.name))
    role = name.role if isinstance(name, PartName) else Role.WORK
    whole = not isinstance(name, PartName) or name.part == "whole"
    context = Context(role, None, measured.width_px, measured.height_px, measured.ppi_x, whole)
    return judge_scan(measured.readings, rules, context)


def _outcome(findings: tuple[Finding, ...]) -> Any:
    from ..policy import outcome_of

    return outcome_of(findings)


def _wait(pool: Any, future: Any, path: Path, quiet: bool) -> tuple[Measured | None, str | None]:
    from ..errors import ScanError

    try:
        return _with_bar(pool, future, f"measuring {path.name}", quiet), None
    except ScanError as error:
        return None, str(error)
    except Exception as error:  # one file must not take the others along
        return None, f"measuring failed inside the program ({type(error).__name__}: {' '.join(str(error).split())})"


def _with_bar(pool: Any, future: Any, what: str, quiet: bool) -> Any:
    """Wait for a future with a progress bar on a terminal; the pool's limits are kept meanwhile."""
    import sys
    from concurrent.futures import wait

    from ..model import shown

    show = not quiet and sys.stderr.isatty()
    if not show:
        while not wait([future], timeout=0.2).done:
            pool.watch()
        return future.result()
    from rich.console import Console
    from rich.progress import Progress
    from rich.text import Text

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(Text(shown(what)).plain.replace("[", "("), total=1.0)
        while not wait([future], timeout=0.1).done:
            pool.watch()
            bar.update(task, completed=max((p.share for p in pool.progress()), default=0.0))
    return future.result()


def _digest_or_none(path: Path) -> str | None:
    from ..errors import MoveError
    from ..storage.disk import digest

    try:
        return digest(path).sha256
    except (MoveError, OSError):
        return None


def _software() -> str:
    from .. import __version__

    return f"Dawnproof {__version__}"


def _print_error(path: Path, error: str, quiet: bool) -> None:
    from ..model import shown

    if not quiet:
        typer.echo(f"{shown(str(path))}: rework\n  cannot be measured: {error}")


def _print_scan(path: Path, measured: Measured, findings: tuple[Finding, ...], outcome: str) -> bool:
    """Whether advice was given that concerns handling: the cautions must follow."""
    from ..model import Level, shown

    ppi = f"{measured.ppi_x:.0f} ppi" if measured.ppi_x else "no usable resolution"
    typer.echo(f"{shown(str(path))}: {outcome}")
    typer.echo(f"  {measured.width_px} x {measured.height_px} px, {measured.depth_bits} bits, {ppi}, "
               f"{measured.profile or 'no profile'}")  # fmt: skip
    for level in (Level.FAULT, Level.UNDECIDED, Level.NOTE):
        for finding in findings:
            if finding.level is level:
                typer.echo(f"  {level.value:9} {finding.text}")
                if level is Level.FAULT and finding.advice:
                    typer.echo(f"            {_without_cautions(finding.advice)}")
    sound = sum(f.level is Level.SOUND for f in findings)
    typer.echo(f"  {sound} readings within their limits")
    return any(_without_cautions(f.advice) != f.advice for f in findings)


def _without_cautions(advice: str) -> str:
    from ..report.account import CAUTIONS_MARK

    return advice.partition(CAUTIONS_MARK)[0]


def _print_cautions() -> None:
    from ..advice import CAUTIONS

    typer.echo("cautions:")
    for caution in CAUTIONS:
        typer.echo(f"  {caution}")


def _print_join(document: dict[str, Any]) -> None:
    from ..model import shown

    typer.echo(f"joined: {shown(document['out'])}, {document['width_px']} x {document['height_px']} px")
    for overlap in document["overlaps"]:
        relief = "no relief" if overlap["relief"] is None else f"relief {overlap['relief']:.2f}"
        typer.echo(
            f"  {shown(overlap['a'])} + {shown(overlap['b'])}: {overlap['share']:.0%} shared, left over "
            f"{overlap['residual_px']:.2f} px, turned {overlap['rotation_deg']:.2f} degrees, tone "
            f"{overlap['tone_percent']:.1f} %, {relief}"
        )
    for finding in document["findings"]:
        if finding["level"] != "sound":
            typer.echo(f"  {finding['level']:9} {finding['text']}")
