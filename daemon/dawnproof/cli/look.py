"""`job` and `morning`: what is known."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer

from . import app
from .decide import JobNumber, open_ledger
from .scans import Json
from .studio import HERE, studio_and_one


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
    studios: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[STUDIO]...", help="The studio's folder; several for one summary.", show_default=False),
    ] = None,
    since: Annotated[
        str | None, typer.Option(help="'8h', 'yesterday', a date or a time; else since noon yesterday.")
    ] = None,
    due: Annotated[
        str | None, typer.Option(help="Only works due until then: a date, 'today', 'tomorrow', '3d'.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Write and print the morning summary, of several studios in one.

    Example: dawnproof morning prints --since yesterday
    """
    from ..pipeline.house import HouseWritten, write_house
    from ..pipeline.morning import Written, last_day, moment, write_morning
    from ..report.documents import to_json
    from ..storage.studio import open_studio

    now = datetime.now().astimezone()
    begin, until = moment(since, now), last_day(due, now)
    mornings = []
    for opened in [open_studio(folder) for folder in dict.fromkeys(studios or [HERE])]:
        with open_ledger(opened, reading=True) as ledger:
            mornings.append((opened, write_morning(opened, ledger, begin, now, until)))
    written: Written | HouseWritten = mornings[0][1] if len(mornings) == 1 else write_house(mornings)
    if as_json:
        typer.echo(to_json(written.document))
    else:
        typer.echo(written.text)
        typer.echo(f"written to {written.folder}")
