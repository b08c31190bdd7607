"""`job` and `morning`: what is known."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from . import app
from .decide import JobNumber
from .scans import Json
from .studio import HERE, StudioFolder


@app.command()
def job(studio: StudioFolder, job: JobNumber, as_json: Json = False) -> None:
    """Print all that is known of one job.

    Example: dawnproof job prints SL-0412 --json
    """
    from .. import __version__
    from ..ledger.ledger import Ledger
    from ..pipeline.decisions import find_job
    from ..pipeline.night import view_of
    from ..report.documents import job_document, to_json
    from ..report.job_text import job_text
    from ..storage.studio import open_studio

    opened = open_studio(studio)
    ledger = Ledger.read(opened.ledger_path)
    try:
        row = find_job(ledger, job)
        view = view_of(opened, ledger, row, ledger.scans_of(row.job), opened.job_list()[0])
        if as_json:
            typer.echo(to_json(job_document(view, ledger.moves_of(row.job), __version__, opened.book.name)))
        else:
            typer.echo(job_text(view, ledger.moves_of(row.job)))
    finally:
        ledger.close()


@app.command()
def morning(
    studio: StudioFolder = HERE,
    since: Annotated[
        str | None, typer.Option(help="'8h', 'yesterday', a date or a time; else since noon yesterday.")
    ] = None,
    due: Annotated[str | None, typer.Option(help="Only jobs due until this date.")] = None,
    as_json: Json = False,
) -> None:
    """Write and print the morning summary.

    Example: dawnproof morning prints --since yesterday
    """
    from ..ledger.ledger import Ledger
    from ..pipeline.morning import moment, write_morning
    from ..report.documents import to_json
    from ..storage.studio import open_studio

    now = datetime.now().astimezone()
    opened = open_studio(studio)
    begin = moment(since, now)
    ledger = Ledger.read(opened.ledger_path)
    try:
        written = write_morning(opened, ledger, begin, now, due)
    finally:
        ledger.close()
    if as_json:
        typer.echo(to_json(written.document))
    else:
        typer.echo(written.text)
        typer.echo(f"written to {written.folder}")


__all__ = ["Path", "job", "morning"]
