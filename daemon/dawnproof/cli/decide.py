"""`accept`, `refuse`, `release`, `place`, `recheck`: a person decides, with a name on it."""

from __future__ import annotations

import getpass
from typing import TYPE_CHECKING, Annotated

import typer

from . import app
from .studio import studio_and_one, studio_and_several

if TYPE_CHECKING:
    from ..ledger.ledger import Ledger
    from ..model import JobRow
    from ..storage.studio import Studio

JobNumber = Annotated[list[str], typer.Argument(metavar="[STUDIO] JOB", help="The job's number.", show_default=False)]
By = Annotated[str | None, typer.Option("--by", help="Who decides; the user's name when left out.")]
Because = Annotated[str, typer.Option("--because", help="The reason, for ledger and summary.", show_default=False)]


@app.command()
def accept(words: JobNumber, because: Because, by: By = None) -> None:
    """Accept a job as it is, faults and all; it is archived with the decision in its record.

    Example: dawnproof accept prints SL-0412 --because "the doubling lies in the margin" --by Noor
    """
    _decide(words, "accept", because, by)


@app.command()
def refuse(words: JobNumber, because: Because, by: By = None) -> None:
    """Refuse a job: it is to be scanned again, whatever was found. A closed bag stays as it is.

    Example: dawnproof refuse prints SL-0412 --because "colours are off beside the original"
    """
    _decide(words, "refuse", because, by)


@app.command()
def release(
    words: JobNumber,
    by: By = None,
    because: Annotated[str, typer.Option("--because", help="The reason, for ledger and summary.")] = "released",
) -> None:
    """Release a job that is held back or waits to be looked at: it may go back to its owner.

    Example: dawnproof release prints SL-0412 --by Noor
    """
    _decide(words, "release", because, by)


@app.command()
def place(
    words: Annotated[
        list[str], typer.Argument(metavar="[STUDIO] FILE", help="The unplaced file (path or name).", show_default=False)
    ],
    name: Annotated[str, typer.Option("--as", help="The name it should have had.", show_default=False)],
    by: By = None,
) -> None:
    """Give an unplaced file its name: it goes back to the inbox under it and joins its job.

    Example: dawnproof place prints rework/_unplaced/scan17.tif --as SL-0412_L.tif
    """
    from ..pipeline.decisions import place_scan
    from ..storage.studio import open_studio

    studio, file = studio_and_one(words, "file")
    opened = open_studio(studio)
    with open_ledger(opened) as ledger:
        typer.echo(place_scan(opened, ledger, file, name, by or getpass.getuser()))
        _carry_out(opened, ledger)


@app.command()
def recheck(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="[STUDIO] [JOB]...", help="Only these jobs.", show_default=False)
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would change.")] = False,
) -> None:
    """Judge again after the rule book changed, from the readings already taken.

    Example: dawnproof recheck prints --dry-run
    """
    from ..pipeline.decisions import recheck_jobs
    from ..storage.studio import open_studio

    studio, jobs = studio_and_several(words or [])
    opened = open_studio(studio)
    with open_ledger(opened) as ledger:
        lines = recheck_jobs(opened, ledger, jobs, dry_run)
        for line in lines or ["nothing would change" if dry_run else "nothing changed"]:
            typer.echo(line)
        if not dry_run:
            _carry_out(opened, ledger)


def _decide(words: list[str], what: str, because: str, by: str | None) -> None:
    from ..pipeline.decisions import decide
    from ..storage.studio import open_studio

    folder, job = studio_and_one(words, "job")
    opened = open_studio(folder)
    with open_ledger(opened) as ledger:
        typer.echo(decide(opened, ledger, job, what, because, by or getpass.getuser()))
        _carry_out(opened, ledger)


class open_ledger:  # noqa: N801 - used as a word in a with statement
    """A studio's ledger for the length of a command; an empty one where nothing was ever scanned."""

    def __init__(self, studio: Studio, reading: bool = False) -> None:
        self._studio, self._reading = studio, reading

    def __enter__(self) -> Ledger:
        from ..ledger.ledger import Ledger
        from ..storage.studio import make_folders

        if not self._studio.ledger_path.is_file():
            make_folders(self._studio)
            Ledger.open(self._studio.ledger_path).close()
        opened = Ledger.read if self._reading else Ledger.open
        self._ledger = opened(self._studio.ledger_path)
        return self._ledger

    def __exit__(self, *error: object) -> None:
        self._ledger.close()


def _carry_out(studio: Studio, ledger: Ledger) -> None:
    """Do what was decided now; where a daemon watches the studio, it does so within seconds."""
    from datetime import datetime

    from ..errors import EnvironmentFault
    from ..service import Service
    from ..storage.lock import StudioLock
    from ..workers.pool import Pool

    if not _decided(ledger) and not ledger.anything_to_file():
        return
    try:
        lock = StudioLock(studio, datetime.now().astimezone())
    except EnvironmentFault:
        typer.echo("the daemon that watches the studio does it within seconds")
        return
    work = studio.book.work
    try:
        pool = Pool(work.slots, work.memory_mb, work.wall_s, work.renew_after)
        Service(studio, ledger, pool, lambda event: typer.echo(event.text)).work_off()
    finally:
        lock.release()


def _decided(ledger: Ledger) -> tuple[JobRow, ...]:
    from ..model import JobState

    return ledger.jobs(JobState.WORKING)
