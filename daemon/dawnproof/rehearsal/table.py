"""The rehearsal's result on the screen."""

from __future__ import annotations

from rich.table import Table
from rich.text import Text

from .evening import RehearsalResult
from .outcome import Verdict

_STYLES = {Verdict.MISSED: "bold red", Verdict.FALSE: "bold red", Verdict.UNSURE: "yellow"}


def result_table(result: RehearsalResult) -> Table:
    """One row a job, file or promise: injected, said, and found, missed, sound, not judged or false."""
    table = Table(title="Rehearsal at the Saltmarsh Lane Print Room", caption=summary(result), expand=False)
    table.add_column("job or file", no_wrap=True)
    table.add_column("injected", max_width=34)
    table.add_column("what the daemon said", max_width=64)
    table.add_column("", no_wrap=True)
    for row in result.rows:
        style = _STYLES.get(row.verdict, "")
        table.add_row(
            Text(row.about), Text(row.injected or "nothing"), Text(row.said), Text(row.verdict.value, style=style)
        )
    return table


def summary(result: RehearsalResult) -> str:
    """Counts and times in one sentence."""
    counts = ", ".join(f"{result.count(verdict)} {verdict.value}" for verdict in Verdict)
    return f"{counts}; {result.scans} scans made in {result.making_s:.0f} s, judged in {result.judging_s:.0f} s"
