"""`new`, `rules`, `ready`, `verify`, `calibrate`: a studio and what it stands on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from . import app
from .scans import Json

if TYPE_CHECKING:
    from ..storage.readiness import Line
    from ..storage.studio import Studio

StudioFolder = Annotated[Path, typer.Argument(help="The studio's folder.", show_default=False)]
HERE = Path()
BOOK = "dawnproof.toml"


def studio_and_one(words: list[str], what: str) -> tuple[Path, str]:
    """[STUDIO] and one more word, which is a `what`; without a studio the current folder is meant."""
    from ..errors import UsageError

    if len(words) > 2:
        raise UsageError(f"name a studio's folder and one {what}; {' '.join(words[2:])} is too much")
    return (HERE, words[0]) if len(words) == 1 else (Path(words[0]), words[1])


def studio_and_several(words: list[str]) -> tuple[Path, list[str]]:
    """[STUDIO] and any number of words. The first is the studio unless the current folder is one and it is none."""
    if words and ((Path(words[0]) / BOOK).is_file() or not Path(BOOK).is_file()):
        return Path(words[0]), words[1:]
    return HERE, words


rules_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="The resolved rule book, and how names are understood."
)
app.add_typer(rules_app, name="rules")


@app.command()
def new(
    studio: Annotated[Path, typer.Argument(help="The folder to make.", show_default=False)],
    book: Annotated[str, typer.Option("--book", help="The shipped rule book to start from.")] = "fine-art",
) -> None:
    """Make a studio: its folders, a commented rule book and an empty job list.

    Example: dawnproof new prints --book works-on-paper
    """
    from ..storage.studio import new_studio

    made = new_studio(studio, book)
    typer.echo(f"made {made.root}")
    typer.echo(f"  the scanner writes to {made.inbox}")
    typer.echo(f"  measure your bed and enter it in {made.root / 'dawnproof.toml'}")
    typer.echo(f"  then: dawnproof watch {studio}")


@rules_app.command("show")
def rules_show(
    studio: StudioFolder = HERE,
    kind: Annotated[str | None, typer.Option(help="Show the book as it holds for this kind.")] = None,
) -> None:
    """Print every value of the rule book and where it comes from.

    Example: dawnproof rules show prints --kind canvas
    """
    from ..storage.studio import open_studio

    book = open_studio(studio).book
    book = book.for_kind(kind) if kind else book
    for key, value, origin in book.values():
        typer.echo(f"{key} = {_toml(value)}    # {origin}")


@rules_app.command("try")
def rules_try(
    words: Annotated[
        list[str],
        typer.Argument(metavar="[STUDIO] NAME...", help="File names as they would arrive.", show_default=False),
    ],
) -> None:
    """Say how file names are understood.

    Example: dawnproof rules try prints "SL 0412 left (2).tif"
    """
    from ..errors import UsageError
    from ..model import shown
    from ..naming import NotNamed, compile_rule, read_name
    from ..storage.studio import open_studio

    studio, names = studio_and_several(words)
    opened = open_studio(studio)
    if not names:
        raise UsageError("name one or more file names to try")
    rule = compile_rule(opened.book.naming.pattern, opened.book.name)
    listed, _ = opened.job_list()
    for name in names:
        read = read_name(name, rule, [j.job for j in listed.values()])
        if isinstance(read, NotNamed):
            hint = f"; did you mean {read.proposal}?" if read.proposal else ""
            typer.echo(f"{shown(name)}: not understood: {read.why}{hint}")
        else:
            extra = "".join(f", {k} {v}" for k, v in (("light", read.light), ("bed", read.bed)) if v)
            kind = opened.book.for_job(read.job).kind
            what = f"part {read.part}" if read.role.value == "work" else f"role {read.part}"
            typer.echo(
                f"{shown(name)}: job {read.job}, {what}, take {read.take}{extra}" + (f", kind {kind}" if kind else "")
            )


@app.command()
def ready(
    studio: Annotated[Path | None, typer.Argument(help="The studio's folder.", show_default=False)] = None,
) -> None:
    """Is this machine ready: versions, folders, permissions, free space, watch limits, codecs, the mail server;
    and what the studio needs to be left running by the machine.

    Example: dawnproof ready prints
    """
    from ..model import shown
    from ..storage.readiness import examine_machine
    from ..storage.service_needs import in_words, service_lines, service_needs
    from ..storage.studio import open_studio

    opened = open_studio(studio) if studio else None
    needs = service_needs(opened) if opened else None
    found = [*examine_machine(opened), *((*_mail_lines(opened), *_cluster_lines(opened)) if opened else ())]
    if opened and needs:
        found += service_lines(opened, needs)
    for line in found:
        typer.echo(f"{'ok     ' if line.ok else 'PROBLEM'}  {line.about}: {line.text}")
    for words in in_words(needs) if needs else ():
        typer.echo(shown(words))
    raise typer.Exit(0 if all(line.ok for line in found) else 1)


def _cluster_lines(studio: Studio) -> list[Line]:
    """Whether the scheduler answers and somebody helps; no work is sent."""
    from ..storage.readiness import Line

    work = studio.book.work
    if work.engine == "local":
        return []
    try:
        from ..cluster.knocking import knock

        well, words = knock(work.scheduler, work.scheduler_file)
    except ImportError as error:
        return [Line(False, "helpers", f"{error.name} is not installed; install dawnproof[cluster]")]
    return [Line(well, "helpers", words)]


def _mail_lines(studio: Studio) -> list[Line]:
    """Whether the mail server answers and takes the password; no letter is sent."""
    from ..notice.mail import Attempt, NotSent
    from ..storage.readiness import Line

    rules = studio.book.mail
    if rules.host is None:
        return []
    secret = studio.root / rules.password_file if rules.password_file else None
    lines = []
    if secret is not None and secret.is_file() and secret.stat().st_mode & 0o077:
        lines.append(Line(False, "mail", f"others can read {secret}: chmod 600 it"))
    came = Attempt(rules, studio.root, lambda: None).knock()
    if isinstance(came, NotSent):
        return [*lines, Line(False, "mail", came.words)]
    return [*lines, Line(True, "mail", f"{rules.host} answers{' and takes the password' if rules.user else ''}")]


@app.command()
def verify(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="[STUDIO] [JOB]...", help="Only these jobs.", show_default=False)
    ] = None,
    as_json: Json = False,
) -> None:
    """Read the archive again and hold it against its manifests and the ledger; nothing is ever repaired.

    Example: dawnproof verify prints SL-0412
    """
    from ..report.documents import to_json, verify_document
    from ..storage.studio import open_studio
    from ..upkeep import verify_archive

    studio, jobs = studio_and_several(words or [])
    opened = open_studio(studio)
    bags = verify_archive(opened, jobs, lambda octets: None)
    if as_json:
        typer.echo(to_json(verify_document(bags)))
    else:
        for bag in bags:
            _print_bag(bag)
        typer.echo(f"{len(bags)} bag(s) read, {sum(b.ok for b in bags)} as they were filed")
    raise typer.Exit(0 if all(b.ok for b in bags) else 1)


@app.command()
def calibrate(
    words: Annotated[
        list[str],
        typer.Argument(metavar="[STUDIO] FILE", help="A shim scan: a test sheet on a shim.", show_default=False),
    ],
    bed: Annotated[str, typer.Option("--bed", help="The bed it was scanned on.", show_default=False)],
    shim: Annotated[float, typer.Option("--shim", help="Thickness of the shim in mm.", show_default=False)],
) -> None:
    """Measure stitch place, blend width and parallax of a bed from one shim scan, into its profile.

    Example: dawnproof calibrate prints shim.tif --bed bed-a --shim 1.0
    """
    from ..advice import SHIM_CAUTION
    from ..calibrate import calibrate_bed
    from ..storage.studio import open_studio

    studio, file = studio_and_one(words, "shim scan")
    said = calibrate_bed(open_studio(studio), Path(file), bed, shim)
    for line in said:
        typer.echo(line)
    typer.echo(SHIM_CAUTION)


def _toml(value: object) -> str:
    import json

    if isinstance(value, bool):
        return "true" if value else "false"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str | list) else f"{value}"


def _print_bag(bag: Any) -> None:
    name = bag.job if bag.version <= 1 else f"{bag.job} (version {bag.version})"
    if bag.ok:
        typer.echo(f"{name}: as filed")
        return
    typer.echo(f"{name}: NOT as filed")
    for what in ("changed", "missing", "extra", "unreadable"):
        for path in getattr(bag, what):
            typer.echo(f"  {what}: {path}")
    typer.echo("  nothing was repaired; fetch the file from the second copy, then verify again")
