"""`job` and `morning`: what is known."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Annotated

import typer

from . import app
from .decide import JobNumber, open_ledger
from .scans import Json
from .studio import HERE, StudioFolder, studio_and_one


@app.command()
def job(words: JobNumber, as_json: Json = False) -> None:
    """Print all that is known of one job.

    Example: dawnproof job prints SL-0412 --json
    """
    from .. import __version__
    from ..pipeline.decisions import find_job
    from ..pipeline.night import view_of
    from ..report.documents import job_document, to_json
    from ..report.job_text import job_text
    from ..storage.studio import open_studio

    studio, number = studio_and_one(words, "job")
    opened = open_studio(studio)
    now = datetime.now().astimezone()
    with open_ledger(opened, reading=True) as ledger:
        row = find_job(ledger, number)
        view = view_of(opened, ledger, row, ledger.scans_of(row.job), opened.job_list()[0])
        moves = ledger.moves_of(row.job)
    if as_json:
        typer.echo(to_json(job_document(view, moves, __version__, opened.book.name)))
    else:
        offset = now.utcoffset() or timedelta()
        typer.echo(job_text(view, moves, now.astimezone(UTC).isoformat(), int(offset.total_seconds())))


@app.command()
def morning(
    studio: StudioFolder = HERE,
    since: Annotated[
        str | None, typer.Option(help="'8h', 'yesterday', a date or a time; else since noon yesterday.")
    ] = None,
    due: Annotated[
        str | None, typer.Option(help="Only works due until then: a date, 'today', 'tomorrow', '3d'.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Write and print the morning summary.

    Example: dawnproof morning prints --since yesterday
    """
    from ..pipeline.morning import last_day, moment, write_morning
    from ..report.documents import to_json
    from ..storage.studio import open_studio

    now = datetime.now().astimezone()
    opened = open_studio(studio)
    begin, until = moment(since, now), last_day(due, now)
    with open_ledger(opened, reading=True) as ledger:
        written = write_morning(opened, ledger, begin, now, until)
    if as_json:
        typer.echo(to_json(written.document))
    else:
        typer.echo(written.text)
        typer.echo(f"written to {written.folder}")
