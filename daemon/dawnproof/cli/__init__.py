"""The commands. Each does its imports when it runs, so that help is there at once."""

from __future__ import annotations

import typer

app = typer.Typer(
    name="dawnproof",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Looks at every scan of an original overnight: checks, joins, crops, files, and says in the morning what may "
    "go back to its owner and what must be scanned again. STUDIO is a studio's folder; the current one where it is "
    "left out.\n\nExit codes: 0 all well; 1 a rework, a refused join, a mismatch, a problem; 2 wrong usage, rule book "
    "or environment; 130 interrupted.\n\nExample: dawnproof new prints && dawnproof watch prints",
)

from . import decide, helping, look, scans, studio, watching  # noqa: E402, F401 - they enter their commands in the app above
