"""`worker`: another computer helps a studio."""

from __future__ import annotations

from typing import Annotated

import typer

from . import app


@app.command()
def worker(
    scheduler: Annotated[
        str | None, typer.Option(help="Address of the studio's scheduler, tcp://HOST:PORT.", show_default=False)
    ] = None,
    scheduler_file: Annotated[
        str | None, typer.Option(help="Or a file on the store that holds it.", show_default=False)
    ] = None,
    slots: Annotated[int, typer.Option(min=0, help="Tasks at a time; 0: one for each two cores.")] = 0,
    memory_mb: Annotated[int, typer.Option(min=0, help="Memory offered; 0: three quarters of what is there.")] = 0,
    name: Annotated[str, typer.Option(help="What the studio's dashboard calls this computer.")] = "",
    host: Annotated[str | None, typer.Option(help="This computer's address in the house.", show_default=False)] = None,
) -> None:
    """Help a studio measure and join: offer this computer's cores and memory, until stopped.

    Example: dawnproof worker --scheduler tcp://desk:8786
    """
    import os

    from ..cluster.serving import memory_of_machine_mb, serve
    from ..errors import UsageError

    if bool(scheduler) == bool(scheduler_file):
        raise UsageError("name the studio's scheduler: --scheduler tcp://HOST:8786, or --scheduler-file FILE")
    places = slots or max(1, (os.cpu_count() or 2) // 2)
    serve(scheduler, scheduler_file, places, memory_mb or memory_of_machine_mb(), name, host, typer.echo)
